"""Weather of a site: handed in, fetched by the worker from a stub on this machine, and used."""

import threading
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from math import sin
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from starlette.testclient import TestClient

from service.db.models import WeatherSource
from service.outward import is_public
from service.weather.address import days_to_ask
from service.weather.fetch import FetchError, fetch
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, sun_height, tidy_log

BLIND = frozenset({"g_plane_w_m2"})


def hourly(first: datetime, hours: int, *, share: float = 1.0) -> str:
    """Give hourly means of the log's own sun on the level, invented."""
    rows = ["time,ghi,temperature,wind"]
    for number in range(hours):
        hour = first + timedelta(hours=number)
        level = share * max(0.0, 800.0 * sin(sun_height(hour + timedelta(minutes=30))))
        rows.append(f"{hour:%Y-%m-%dT%H:%M:%SZ},{level:.1f},18,2")
    return "\n".join(rows)


class Stub:
    """A weather source on this machine that does as it is told."""

    def __init__(self) -> None:
        self.asked: list[dict[str, str]] = []
        self.answer = "days"
        stub = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                query = {k: v[0] for k, v in parse_qs(urlsplit(self.path).query).items()}
                stub.asked.append(query)
                stub.give(self, query)

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        threading.Thread(
            target=self.server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True
        ).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}/hours"

    def give(self, request: BaseHTTPRequestHandler, query: dict[str, str]) -> None:
        if self.answer == "slow":
            time.sleep(1.0)
        if self.answer == "away":
            request.send_response(302)
            request.send_header("Location", "http://169.254.169.254/latest")
            request.end_headers()
            return
        if self.answer == "broken":
            request.send_error(503)
            return
        body = b"x" * 3_000_000
        if self.answer == "days":
            first = datetime.fromisoformat(query["from"]).replace(tzinfo=UTC)
            last = datetime.fromisoformat(query["to"]).replace(tzinfo=UTC)
            body = hourly(first, ((last - first).days + 1) * 24).encode()
        request.send_response(200)
        request.end_headers()
        request.wfile.write(body)


@pytest.fixture
def stub() -> Iterator[Stub]:
    made = Stub()
    yield made
    made.server.shutdown()
    made.server.server_close()


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make(weather_private_hosts=True)


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL) as client:
        yield client


def blind_site(back: BackEnd, hours: int = 72) -> str:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=hours, without=BLIND))
    back.worker().work_all()
    return slug


def report(client: TestClient, slug: str) -> dict:
    return client.get(f"/api/sites/{slug}/report").json()


def weather(client: TestClient, slug: str) -> dict:
    answer = client.get(f"/api/sites/{slug}/weather")
    assert answer.status_code == 200
    return answer.json()


def test_weather_that_comes_later_has_its_days_observed_anew(
    back: BackEnd, client: TestClient
) -> None:
    slug = blind_site(back)
    assert report(client, slug)["totals"]["expected_kwh"] is None
    text = hourly(datetime(2025, 5, 31, tzinfo=UTC), 120)
    sent = client.post(f"/api/sites/{slug}/weather", params={"name": "june.csv"}, content=text)
    assert (sent.status_code, sent.json()["state"]) == (202, "kept")
    back.worker().work_all()
    (file,) = weather(client, slug)["files"]
    assert (file["state"], file["hours"], file["name"]) == ("stored", 120, "june.csv")
    told = report(client, slug)
    assert told["basis"]["weather"] == "weather_file"
    assert told["totals"]["expected_kwh"] > 3.0
    again = client.post(f"/api/sites/{slug}/weather", params={"name": "june.csv"}, content=text)
    assert (again.json()["id"], again.json()["state"]) == (file["id"], "stored")


def test_a_wrong_file_is_refused_with_place_and_remedy(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    text = hourly(datetime(2025, 5, 31, tzinfo=UTC), 48)
    lines = text.splitlines()
    lines[7] = lines[7].replace(",18,2", ",1B,2")
    client.post(f"/api/sites/{slug}/weather", content="\n".join(lines))
    back.worker().work_all()
    (file,) = weather(client, slug)["files"]
    assert file["state"] == "refused"
    assert "line 8" in file["message"]
    assert "temperature" in file["message"]
    page = client.get(f"/sites/{slug}/weather", headers={"accept": "text/html"})
    assert "line 8" in page.text


def test_later_hours_of_another_offset_replace_those_they_overlap(
    back: BackEnd, client: TestClient
) -> None:
    slug = blind_site(back)
    first = datetime(2025, 5, 31, tzinfo=UTC)
    client.post(f"/api/sites/{slug}/weather", content=hourly(first, 120))
    back.worker().work_all()
    bright = report(client, slug)["totals"]["expected_kwh"]
    shifted = hourly(first + timedelta(minutes=30), 120, share=0.5)
    client.post(f"/api/sites/{slug}/weather", content=shifted)
    back.worker().work_all()
    dull = report(client, slug)["totals"]["expected_kwh"]
    assert dull < 0.7 * bright
    newest = weather(client, slug)["files"][0]
    assert client.delete(f"/api/sites/{slug}/weather/files/{newest['id']}").status_code == 204
    back.worker().work_all()
    assert report(client, slug)["totals"]["expected_kwh"] == bright


def test_a_new_place_has_the_weather_read_anew(back: BackEnd, client: TestClient) -> None:
    slug = blind_site(back)
    client.post(
        f"/api/sites/{slug}/weather", content=hourly(datetime(2025, 5, 31, tzinfo=UTC), 120)
    )
    back.worker().work_all()
    before = report(client, slug)["totals"]["expected_kwh"]
    moved = site_file().replace("latitude = 48.0", "latitude = 52.0")
    assert client.put(f"/api/sites/{slug}/file", content=moved).status_code == 200
    assert weather(client, slug)["files"][0]["state"] == "kept"
    back.worker().work_all()
    assert weather(client, slug)["files"][0]["state"] == "stored"
    assert report(client, slug)["totals"]["expected_kwh"] != before


def test_the_worker_fetches_what_is_logged_and_missing_and_nothing_twice(
    back: BackEnd, client: TestClient, stub: Stub
) -> None:
    slug = blind_site(back)
    template = stub.url + "?lat={latitude}&lon={longitude}&from={from}&to={to}"
    answer = client.put(f"/api/sites/{slug}/weather/source", json={"url": template})
    assert answer.status_code == 200, answer.text
    assert stub.asked == []  # never within a request
    back.worker().work_all()
    assert stub.asked == [{"lat": "48", "lon": "11", "from": "2025-06-01", "to": "2025-06-04"}]
    assert report(client, slug)["totals"]["expected_kwh"] > 3.0
    shown = weather(client, slug)
    assert shown["source"]["problem"] is None
    assert (shown["first_day"], shown["last_day"]) == ("2025-06-01", "2025-06-04")
    back.clock.move(hours=7)
    back.worker().work_all()
    assert len(stub.asked) == 1  # it is known already
    later = tidy_log(first=datetime(2025, 6, 6, tzinfo=UTC), hours=24, without=BLIND)
    back.hand_in(slug, later)
    back.clock.move(hours=7)
    back.worker().work_all()
    assert [one["from"] for one in stub.asked] == ["2025-06-01", "2025-06-06"]


def test_a_source_that_fails_rests_longer_each_time_and_says_why(
    back: BackEnd, client: TestClient, stub: Stub
) -> None:
    slug = blind_site(back)
    stub.answer = "broken"
    client.put(f"/api/sites/{slug}/weather/source", json={"url": f"{stub.url}?key=hush&d={{from}}"})
    waits = []
    for _ in range(3):
        back.worker().work_all()
        source = weather(client, slug)["source"]
        assert "answered 503" in source["problem"]
        assert "hush" not in source["problem"]
        wait = datetime.fromisoformat(source["next_at"]) - back.clock.now()
        waits.append(wait.total_seconds() / 60)
        back.clock.move(minutes=waits[-1] + 1)
    assert waits == [5, 10, 20]
    assert len(stub.asked) == 3
    page = client.get(f"/sites/{slug}/weather", headers={"accept": "text/html"})
    assert "answered 503" in page.text
    stub.answer = "days"
    client.put(f"/api/sites/{slug}/weather/source", json={"url": stub.url + "?from={from}&to={to}"})
    back.worker().work_all()
    assert weather(client, slug)["source"]["problem"] is None


def test_an_address_is_set_and_forgotten_on_the_page(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    path = f"/sites/{slug}/weather"
    html = {"accept": "text/html"}
    refused = client.post(f"{path}/source", data={"url": "ftp://w.example/"}, headers=html)
    assert refused.status_code == 422
    assert "begins with https://" in refused.text
    client.post(f"{path}/source", data={"url": "https://w.example/a?d={from}"}, headers=html)
    assert "https://w.example/a?d={from}" in client.get(path, headers=html).text
    sent = client.post(
        path, files={"file": ("w.csv", hourly(datetime(2025, 6, 1, tzinfo=UTC), 48).encode())}
    )
    assert "being read" in sent.text
    back.worker().work_once()
    assert "48 hours with irradiance" in client.get(path, headers=html).text
    client.post(f"{path}/source", data={"what": "forget"}, headers=html)
    with back.database.reading() as db:
        assert db.get(WeatherSource, back.site_id(slug)) is None


@pytest.mark.parametrize(
    ("url", "told"),
    [
        ("https://w.example/{day}", "{day}"),
        ("https://{latitude}.example/", "host must be written out"),
        ("https://me:pw@w.example/", "Name and password"),
        ("https://w.example/a b", "blank"),
        ("w.example", "begins with"),
        ("https://w.example:notaport/", "begins with"),
        ("http://localhost:8321/", "own network"),
        ("http://127.0.0.1/", "own network"),
        ("http://[::1]/", "own network"),
        ("http://169.254.169.254/latest", "own network"),
        ("http://192.168.1.4/x", "own network"),
    ],
)
def test_an_address_that_cannot_be_used_is_refused(tmp_path: Path, url: str, told: str) -> None:
    with back_ends(tmp_path, "sqlite") as make:
        back = make()
        slug = back.add_site()
        with TestClient(back.app(), base_url=LOCAL) as client:
            answer = client.put(f"/api/sites/{slug}/weather/source", json={"url": url})
    assert answer.status_code == 422
    assert told in answer.json()["detail"]


def test_a_host_that_leads_inward_is_not_asked_unless_allowed(tmp_path: Path, stub: Stub) -> None:
    # A name is looked up by the worker; this one stands for one that points to this machine.
    with pytest.raises(FetchError, match="own network"):
        fetch(stub.url, limit_bytes=1000, allow_private=False)
    with pytest.raises(FetchError, match="own network"):
        fetch(
            "http://w.example/",
            limit_bytes=1000,
            allow_private=False,
            resolve=lambda *_: ["93.184.215.14", "10.0.0.1"],
        )
    assert stub.asked == []


@pytest.mark.parametrize(
    ("address", "public"),
    [
        ("93.184.215.14", True),
        ("2606:2800:21f:cb07:6820:80da:af6b:8b2c", True),
        ("127.0.0.1", False),
        ("10.1.2.3", False),
        ("100.64.0.1", False),
        ("169.254.169.254", False),
        ("0.0.0.0", False),
        ("224.0.0.1", False),
        ("::", False),
        ("fe80::1", False),
        ("fd00::1", False),
        ("::ffff:127.0.0.1", False),
        ("64:ff9b::7f00:1", False),
        ("2002:7f00:1::", False),
    ],
)
def test_addresses_of_the_own_network_are_known_in_every_guise(address: str, public: bool) -> None:
    import ipaddress

    assert is_public(ipaddress.ip_address(address)) is public


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ("big", "more than 1 MiB"),
        ("slow", "did not answer in time"),
        ("away", "sends on to another address at 169.254.169.254"),
        ("broken", r"answered 503 \(Service Unavailable\)"),
    ],
)
def test_an_answer_has_bounds(stub: Stub, answer: str, told: str) -> None:
    stub.answer = answer
    with pytest.raises(FetchError, match=told):
        fetch(stub.url, limit_bytes=1024**2, allow_private=True, timeout_s=0.2, deadline_s=5.0)


def test_the_connection_goes_to_the_address_that_was_checked(stub: Stub) -> None:
    looked = []

    def resolve(host: str, port: int) -> list[str]:
        looked.append((host, port))
        return ["127.0.0.1"]

    stub.answer = "big"
    url = f"http://w.invalid:{stub.server.server_port}/hours?a=1"
    body = fetch(url, limit_bytes=4_000_000, allow_private=True, resolve=resolve)
    assert len(body) == 3_000_000
    assert looked == [("w.invalid", stub.server.server_port)]
    assert stub.asked == [{"a": "1"}]


def days(*numbers: int) -> list[date]:
    return [date(2025, 1, 1) + timedelta(days=number) for number in numbers]


def test_days_to_ask_for_are_logged_over_unknown_and_not_given_up() -> None:
    asked = {"covered": frozenset(days(1)), "settled_before": None, "today": days(500)[0]}
    assert days_to_ask(days(0, 1, 2, 400, 500), **asked) == tuple(days(0, 2))
    assert days_to_ask(days(1, 500, 501), **asked) is None
    asked["settled_before"] = days(3)[0]
    assert days_to_ask(days(0, 2, 400), **asked) == tuple(days(400, 400))
