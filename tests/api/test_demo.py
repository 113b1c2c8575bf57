"""`suntally demo`: loads a fleet as uploads, once, and keeps its hands off everything else.

The fleet here is two small invented sites; the whole one is made in the tests of the simulator.
"""

import argparse
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from fixtures.fleet import DemoFiles
from service import demo
from service.assessments.queries import fleet
from service.db.engine import Database
from service.db.models import Upload
from tests.build_service import back_end, site_file, tidy_log

NAMES = ("Mill Lane 4", "Orchard End")


def files(number: int, last_day) -> DemoFiles:
    first = datetime(last_day.year, last_day.month, last_day.day, tzinfo=UTC) - timedelta(days=2)
    return DemoFiles(
        slug=NAMES[number].lower().replace(" ", "-"),
        site_toml=site_file(NAMES[number]),
        log_name=f"log-{number}.csv",
        log=tidy_log(first=first, hours=72, seed=number).encode(),
        delivered_kwh=1.0,
        story="invented",
        finding=None,
    )


@pytest.fixture
def small(monkeypatch):
    """Replace the fleet by a small one; it says what was made, and breaks if told to."""
    made: list[int] = []

    def make(*, last_day, workers):
        for number in range(len(NAMES)):
            if make.breaks and number == 1:
                make.breaks = False
                raise KeyboardInterrupt
            made.append(number)
            yield files(number, last_day)

    make.breaks, make.made = False, made
    monkeypatch.setattr("fixtures.fleet.make_demo", make)
    monkeypatch.setattr("fixtures.fleet.DEMO_SITES", NAMES)
    return make


def run(folder, *words: str) -> int:
    parser = argparse.ArgumentParser()
    demo.add_arguments(parser)
    return demo.run(parser.parse_args(["--data-dir", str(folder), "--no-serve", *words]))


def sites(folder):
    database = Database(f"sqlite:///{folder / 'suntally.db'}")
    try:
        with database.reading() as db:
            uploads = {upload.via for upload in db.scalars(select(Upload))}
            return fleet(db, firm_id=1), uploads
    finally:
        database.close()


def test_the_fleet_is_loaded_as_uploads_and_looked_at(tmp_path, small, capsys):
    assert run(tmp_path / "demo") == 0
    entries, via = sites(tmp_path / "demo")
    assert [entry.site.name for entry in entries] == list(NAMES)
    assert all(entry.report is not None and entry.pending is None for entry in entries)
    assert via == {"demo"}
    out, err = capsys.readouterr()
    assert "The fleet is ready" in out
    assert "1/2" in err
    assert "Orchard End" in err


def test_a_second_start_makes_nothing(tmp_path, small, capsys):
    assert run(tmp_path / "demo") == 0
    small.made.clear()
    capsys.readouterr()
    assert run(tmp_path / "demo") == 0
    assert small.made == []
    assert "ready" not in capsys.readouterr().out


def test_an_interrupted_start_goes_on_with_what_is_there(tmp_path, small):
    small.breaks = True
    with pytest.raises(KeyboardInterrupt):
        run(tmp_path / "demo")
    assert run(tmp_path / "demo") == 0
    entries, _ = sites(tmp_path / "demo")
    assert [entry.site.name for entry in entries] == list(NAMES)
    assert all(entry.report is not None for entry in entries)


def test_fresh_makes_it_anew(tmp_path, small):
    assert run(tmp_path / "demo") == 0
    small.made.clear()
    assert run(tmp_path / "demo", "--fresh") == 0
    assert small.made == [0, 1]


def test_a_folder_with_real_sites_is_left_alone(tmp_path, small, capsys):
    back = back_end(tmp_path)
    back.add_site("Somebody's Real Site")
    back.database.close()
    for words in ((), ("--fresh",)):
        assert run(tmp_path / "data", *words) == 2
        assert "--data-dir" in capsys.readouterr().err
    entries, _ = sites(tmp_path / "data")
    assert [entry.site.name for entry in entries] == ["Somebody's Real Site"]


def test_a_folder_with_other_files_is_not_thrown_away(tmp_path, small, capsys):
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "to-keep.txt").write_text("dear", encoding="utf-8")
    assert run(tmp_path / "letters", "--fresh") == 2
    assert (tmp_path / "letters" / "to-keep.txt").exists()
    assert "holds no demo" in capsys.readouterr().err


def test_the_demo_never_touches_a_real_database_or_leaves_the_machine(tmp_path, small, monkeypatch):
    for name, value in {
        "DATABASE_URL": "postgresql+psycopg://nobody@127.0.0.1:1/real",
        "HOST": "0.0.0.0",
        "BASE_URL": "https://suntally.example",
        "SMTP_HOST": "mail.example",
        "DATA_DIR": str(tmp_path / "real"),
    }.items():
        monkeypatch.setenv(f"SUNTALLY_{name}", value)
    args = argparse.Namespace(data_dir=str(tmp_path / "demo"), port=None)
    settings = demo._settings(args)
    assert settings.url == f"sqlite:///{tmp_path / 'demo' / 'suntally.db'}"
    assert settings.public_url.startswith("http://127.0.0.1:")
    assert settings.smtp_host is None
    assert not settings.reachable
    assert run(tmp_path / "demo") == 0
    assert not (tmp_path / "real").exists()


def test_a_taken_port_gives_way_to_the_next_unless_it_was_asked_for(tmp_path):
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert demo._free_port(port) > port
        args = argparse.Namespace(data_dir=str(tmp_path), port=port)
        assert demo._settings(args).port == port
