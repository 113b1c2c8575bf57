"""What an operator sees: one line a request, health, figures for a monitor, the units."""

import json
import logging
import re
from collections import namedtuple
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families

import service
from service.operation import health
from service.operation.logs import JsonLines
from tests.build_service import LOCAL, back_ends

Usage = namedtuple("Usage", "total used free")


@pytest.fixture
def lines(caplog: pytest.LogCaptureFixture):
    """Give the log as it would be written, as JSON."""
    caplog.set_level(logging.INFO, logger="suntally.request")
    written: list[dict] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            written.append(json.loads(JsonLines().format(record)))

    handler = Keep()
    logging.getLogger("suntally").addHandler(handler)
    yield written
    logging.getLogger("suntally").removeHandler(handler)


@pytest.fixture
def back(tmp_path: Path):
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back):
    with TestClient(back.app(), base_url=LOCAL, raise_server_exceptions=False) as client:
        yield client


def test_each_request_is_one_line_without_names_or_secrets(back, client, lines) -> None:
    back.add_site()
    client.get("/sites/mill-lane-4/sheet?name=Somebody", headers={"authorization": "Bearer x"})
    client.get("/shared/secret-token")
    client.get("/nowhere/at-all")
    assert [(one["method"], one["route"], one["status"]) for one in lines] == [
        ("GET", "/sites/{slug}/sheet", 401),
        ("GET", "/shared/{token}", 404),
        ("GET", "none", 404),
    ]
    for one in lines:
        assert re.fullmatch(r"[0-9a-f]{16}", one["request_id"])
        assert one["took_ms"] >= 0
        assert not re.search("mill-lane|Somebody|secret-token|Bearer", json.dumps(one))
    assert len({one["request_id"] for one in lines}) == 3


def test_an_answer_names_its_request_and_a_proxys_number_is_taken_over(client, lines) -> None:
    own = client.get("/health/live")
    assert own.headers["x-request-id"] == lines[0]["request_id"]
    given = client.get("/health/live", headers={"x-request-id": "proxy-7"})
    assert given.headers["x-request-id"] == lines[1]["request_id"] == "proxy-7"
    forged = client.get("/health/live", headers={"x-request-id": 'a"} {"level": "error'})
    assert re.fullmatch(r"[0-9a-f]{16}", forged.headers["x-request-id"])


def test_an_error_of_its_own_bears_the_number_of_its_request(
    client, lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: object, **_named: object) -> None:
        raise RuntimeError("something is broken")

    monkeypatch.setattr(health, "disk_has_room", broken)
    answer = client.get("/health/ready")
    assert answer.status_code == 500
    number = answer.headers["x-request-id"]
    request, error = lines
    assert (request["status"], request["request_id"]) == (500, number)
    assert error["request_id"] == number
    assert "something is broken" in error["error"]


def test_ready_says_what_is_wrong_and_live_goes_on(
    back, client, monkeypatch: pytest.MonkeyPatch
) -> None:
    back.worker().beat()
    assert client.get("/health/ready").json()["status"] == "ok"
    with monkeypatch.context() as patch:
        patch.setattr(health.shutil, "disk_usage", lambda _path: Usage(10**9, 10**9, 10**6))
        full = client.get("/health/ready")
        assert (full.status_code, full.json()["disk"]) == (503, "low")
    back.clock.move(minutes=5)
    silent = client.get("/health/ready")
    assert (silent.status_code, silent.json()["status"]) == (503, "no worker")
    back.database.close()
    (back.settings.data_dir / "suntally.db").rename(back.settings.data_dir / "gone")
    (back.settings.data_dir / "suntally.db").mkdir()
    away = client.get("/health/ready")
    assert (away.status_code, away.json()["database"]) == (503, "away")
    assert client.get("/health/live").status_code == 200
    (back.settings.data_dir / "suntally.db").rmdir()
    (back.settings.data_dir / "gone").rename(back.settings.data_dir / "suntally.db")


def figures(text: str) -> dict[tuple, float]:
    return {
        (sample.name, *sorted(sample.labels.values())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_metrics_count_what_is_there_and_what_waits(back, client) -> None:
    slug = back.add_site()
    back.hand_in(slug, b"something")
    back.worker().beat()
    back.clock.move(seconds=90)
    client.get(f"/sites/{slug}/logs")
    client.get(f"/sites/{slug}/logs")
    answer = client.get("/metrics")
    assert answer.headers["content-type"].startswith("text/plain")
    told = figures(answer.text)
    assert told["suntally_requests_total", "/sites/{slug}/logs", "200", "GET"] == 2
    assert told["suntally_request_seconds_count", "/sites/{slug}/logs", "GET"] == 2
    assert told["suntally_sites",] == 1
    assert told["suntally_uploads", "kept"] == 1
    assert told["suntally_oldest_waiting_upload_seconds",] == 90
    assert told["suntally_worker_silence_seconds",] == 90
    assert told["suntally_disk_free_bytes",] > 0
    assert slug not in answer.text


def test_metrics_are_for_this_machine_or_by_token_only(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make:
        for given, header, status in (
            ({"host": "0.0.0.0"}, {}, 404),
            ({"host": "0.0.0.0", "metrics_token": "a long one"}, {}, 404),
            ({"metrics_token": "a long one"}, {}, 404),
            ({"host": "0.0.0.0", "metrics_token": "a long one"}, {"authorization": "x"}, 404),
            (
                {"host": "0.0.0.0", "metrics_token": "a long one"},
                {"authorization": "Bearer a long one"},
                200,
            ),
        ):
            with TestClient(make(**given).app(), base_url=LOCAL) as client:
                assert client.get("/metrics", headers=header).status_code == status, given


DEPLOY = Path(service.__file__).parent / "deploy"


def test_the_files_for_deployment_name_commands_and_settings_that_exist() -> None:
    from service.cli import _parser
    from service.settings import Settings

    texts = {path.name: path.read_text("utf-8") for path in DEPLOY.iterdir()}
    named = {name for text in texts.values() for name in re.findall(r"SUNTALLY_([A-Z_]+)", text)}
    assert named
    assert {name.lower() for name in named} <= set(Settings.model_fields)
    for name in ("suntally.service", "suntally-backup.service"):
        (line,) = re.findall(r"^ExecStart=\S+/suntally (.*)$", texts[name], re.MULTILINE)
        assert _parser().parse_args(line.split()).run
    assert '["suntally", "serve"]' in texts["Dockerfile"]
    assert "/health/ready" in texts["Dockerfile"]
