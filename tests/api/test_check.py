"""`suntally check` finds what is broken, says what to do, and changes nothing."""

import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from service.backups.make import note_backup
from service.cli import main
from service.db.models import DayNames, DayRow, Heartbeat, Upload
from service.operation.check import Looked, look
from tests.build_mail import mail_server
from tests.build_service import BackEnd, back_ends, tidy_log


@pytest.fixture
def back(tmp_path: Path):
    with back_ends(tmp_path, "sqlite") as make:
        yield make()


def well(back: BackEnd) -> None:
    back.settings.data_dir.chmod(0o750)
    slug = back.add_site()
    back.hand_in(slug, b"a log")
    back.worker().beat()
    note_backup(back.settings.data_dir, path=Path("x"), now=back.clock.now())


def looked(back: BackEnd, **given: bool) -> dict[str, Looked]:
    return {one.what: one for one in look(back.settings, now=back.clock.now(), **given)}


def states(back: BackEnd) -> dict[str, str]:
    return {what: one.state for what, one in looked(back).items() if one.state != "ok"}


def test_a_sound_installation_has_nothing_to_mend(back: BackEnd) -> None:
    well(back)
    assert states(back) == {"mail": "note"}
    assert set(looked(back)) == {
        "Python", "data folder", "disk", "time zones", "mail", "backup", "database", "clock",
        "password", "worker", "sites", "days", "raw files", "old data",
    }  # fmt: skip


def test_lost_and_damaged_raw_files_are_named(back: BackEnd) -> None:
    well(back)
    back.hand_in("mill-lane-4", b"another", "other.csv")
    first, second = sorted(back.settings.data_dir.glob("uploads/??/*"))
    first.unlink()
    assert looked(back, quick=True)["raw files"].said.startswith("1 of 2 are lost")
    second.write_bytes(b"altered")
    found = looked(back)["raw files"]
    assert found.state == "mend"
    assert "2 of 2 are lost or damaged" in found.said
    assert "Mill Lane 4: other.csv" in found.said
    assert "Mill Lane 4: log.csv" in found.said


def test_days_that_cannot_be_read_are_said_and_what_to_do(back: BackEnd) -> None:
    well(back)
    back.hand_in("mill-lane-4", tidy_log(hours=72), "good.csv")
    back.worker().work_all()
    assert looked(back, quick=True)["days"].state == "ok"
    with back.database.session() as db:
        db.query(DayNames).delete()
        held = db.query(DayRow).filter(DayRow.date == date(2025, 6, 1)).update({"held": True})
        count = db.query(DayRow).count()
    found = looked(back, quick=True)["days"]
    assert (found.state, held) == ("mend", 1)
    assert found.said.startswith(f"{count} are missing from reports")
    assert "Mill Lane 4. “suntally fleet run --again”" in found.said
    assert "of 1 they were rolled up or removed since" in found.said


def test_what_gets_old_is_said(back: BackEnd) -> None:
    well(back)
    back.clock.move(days=15)
    assert states(back) == {"mail": "note", "backup": "mend", "worker": "mend", "sites": "note"}
    found = looked(back)
    assert "15 days old" in found["backup"].said
    assert "1 logs wait to be read" in found["worker"].said
    assert "without a log for 14 days: Mill Lane 4" in found["sites"].said


def test_a_clock_behind_what_is_stored_is_said(back: BackEnd) -> None:
    well(back)
    back.clock.move(hours=-1)
    assert looked(back)["clock"].state == "mend"


@pytest.mark.parametrize(
    ("given", "word"),
    [({"host": "0.0.0.0"}, "none is set"), ({"base_url": "http://sun.example"}, "none is set")],
)
def test_a_server_for_others_without_a_password_is_said(tmp_path: Path, given, word) -> None:
    with back_ends(tmp_path) as make:
        back = make(**given)
        found = looked(back)["password"]
        assert (found.state, word in found.said) == ("mend", True)
        from service.accounts.actions import reset_password

        with back.database.session() as db:
            reset_password(db, login="owner", password="a good password", now=back.clock.now())
        assert "in the clear" in looked(back)["password"].said


def test_tables_of_another_state_and_full_disks_are_said(tmp_path: Path) -> None:
    from sqlalchemy import text

    with back_ends(tmp_path) as make:
        back = make(min_free_mib=10**9)
        with back.database.session() as db:
            db.execute(text("UPDATE alembic_version SET version_num = '0004'"))
        found = looked(back)
        assert found["disk"].state == "mend"
        assert "of state 0004, this version needs" in found["database"].said
        assert "worker" not in found


def test_mail_is_tried_without_sending(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make, mail_server() as server:
        there = make(smtp_host="127.0.0.1", smtp_port=server.port, smtp_starttls=False)
        assert looked(there)["mail"].state == "ok"
        assert server.taken == []
        away = make(smtp_host="127.0.0.1", smtp_port=9, smtp_starttls=False)
        found = looked(away)["mail"]
        assert found.state == "mend"
        assert "127.0.0.1 port 9 cannot be used (Connection refused)" in found.said


@pytest.mark.parametrize(
    ("given", "there", "lacking"),
    [({"smtp_user": "sun"}, "USER", "PASSWORD"), ({"smtp_password": "moon"}, "PASSWORD", "USER")],
)
def test_half_an_account_at_the_mail_server_is_said_before_it_is_asked(
    tmp_path: Path, given: dict[str, str], there: str, lacking: str
) -> None:
    with back_ends(tmp_path) as make, mail_server() as server:
        back = make(smtp_host="127.0.0.1", smtp_port=server.port, smtp_starttls=False, **given)
        found = looked(back)["mail"]
    assert found.state == "mend"
    assert f"SUNTALLY_SMTP_{there} is set without SUNTALLY_SMTP_{lacking}" in found.said
    assert "moon" not in found.said


def test_what_is_set_about_old_data_and_due_is_said(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make:
        assert looked(make())["old data"].state == "ok"
        found = looked(make(keep_full_years=3))["old data"]
    assert found.state == "note"
    assert "kept as they came for 3 years" in found.said
    assert "to be rolled up: 0 days" in found.said


def test_the_command_prints_and_exits_by_what_is_to_mend(
    back: BackEnd, capsys: pytest.CaptureFixture[str]
) -> None:
    well(back)
    arguments = ["check", "--data-dir", str(back.settings.data_dir)]
    assert main(arguments) == 1
    said = capsys.readouterr().out
    assert re.search(r"^MEND  worker: silent since 2025-06-20", said, re.MULTILINE)
    now = datetime.now(UTC)
    with back.database.session() as db:
        db.query(Heartbeat).update({"beat_at": now})
        db.query(Upload).update({"received_at": now})
    note_backup(back.settings.data_dir, path=Path("x"), now=now)
    assert main(arguments) == 0
    assert capsys.readouterr().out.endswith("All is well.\n")


def test_an_empty_folder_is_left_empty(tmp_path: Path, capsys) -> None:
    folder = tmp_path / "nothing"
    assert main(["check", "--data-dir", str(folder)]) == 1
    assert "start the service once" in capsys.readouterr().out
    assert not folder.exists()
