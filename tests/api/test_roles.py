"""Every address with every role: strangers first, another firm last.

The table below is written apart from the service's own; a route that is not in it fails.
"""

from collections.abc import Iterator

import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from service.accounts import people, queries, sessions
from service.accounts.access import COOKIE
from service.accounts.actions import set_password_by_link
from service.accounts.customers import make_link
from service.accounts.trail_words import WORDS
from service.db.models import Site, Visit, VisitPhoto
from service.ingest.files import RawStore
from tests.build_service import BackEnd, back_ends, tidy_log

PUBLIC = "http://sun.example"
PASSWORD = "correct horse"

# What each address needs: a right, or who else may come in.
NEEDS: dict[str, str] = {
    "GET /health": "nobody",
    "GET /health/live": "nobody",
    "GET /health/ready": "nobody",
    "GET /metrics": "nobody",  # but only with its token where others can reach the server
    "GET /static/plotly.min.js": "nobody",
    "GET /glossary": "nobody",
    "GET /sign-in": "nobody",
    "POST /sign-in": "nobody",
    "GET /sign-in/code": "nobody",
    "POST /sign-in/code": "nobody",
    "POST /sign-out": "nobody",
    "GET /first-password": "nobody",
    "POST /first-password": "nobody",
    "GET /shared/{token}": "link",
    "GET /shared/{token}/sheet.pdf": "link",
    "GET /mail/stop/{token}": "link",
    "POST /mail/stop/{token}": "link",
    "GET /mail/stop-letters/{token}": "link",
    "POST /mail/stop-letters/{token}": "link",
    "GET /sites/{slug}/sheet": "see",
    "GET /sites/{slug}/sheet.pdf": "see",
    "GET /": "see",
    "GET /api/sites": "see",
    "GET /api/sites/{slug}/export": "see",
    "GET /sites/{slug}/export": "see",
    "GET /api/sites/{slug}/file": "see",
    "GET /api/sites/{slug}/readings": "see",
    "GET /api/sites/{slug}/report": "see or gateway",
    "GET /api/sites/{slug}/series": "see or gateway",
    "GET /api/sites/{slug}/uploads": "see or gateway",
    "GET /api/sites/{slug}/uploads/summary": "see or gateway",
    "GET /api/sites/{slug}/uploads/{upload_id}": "see or gateway",
    "GET /api/sites/{slug}/uploads/{upload_id}/set-aside.csv": "see or gateway",
    "GET /api/sites/{slug}/weather": "see",
    "GET /digest/{week}": "see",
    "GET /sites/{slug}": "see",
    "GET /sites/{slug}/day/{when}": "see",
    "GET /sites/{slug}/check": "see",
    "GET /sites/{slug}/facts": "see",
    "GET /sites/{slug}/heat/{size}": "see",
    "GET /sites/{slug}/findings/{key}": "see",
    "GET /sites/{slug}/logs": "see",
    "GET /sites/{slug}/readings": "see",
    "GET /sites/{slug}/report.html": "see",
    "GET /sites/{slug}/weather": "see",
    "GET /sites/{slug}/warranty": "see",
    "POST /sites/{slug}/bundle": "see",
    "GET /account": "see",
    "GET /account/mail": "see",
    "POST /account/mail": "see",
    "POST /account/mail/now": "see",
    "POST /account/password": "see",
    "POST /account/second-factor": "see",
    "POST /account/second-factor/confirm": "see",
    "POST /account/second-factor/off": "see",
    "POST /account/sessions/{session_id}/end": "see",
    "POST /account/sessions/end-others": "see",
    "POST /api/sites/{slug}/rows": "gateway",
    "POST /api/sites/{slug}/logs": "log or gateway",
    "POST /api/sites/{slug}/readings": "log",
    "POST /api/sites/{slug}/uploads/{upload_id}/map": "log",
    "POST /api/sites/{slug}/uploads/{upload_id}/redo": "log",
    "POST /api/sites/{slug}/uploads/{upload_id}/undo": "log",
    "POST /sites/{slug}/logs": "log",
    "GET /sites/{slug}/logs/{upload_id}": "log",
    "POST /sites/{slug}/logs/{upload_id}": "log",
    "POST /sites/{slug}/logs/{upload_id}/discard": "log",
    "POST /sites/{slug}/logs/{upload_id}/redo": "log",
    "POST /sites/{slug}/logs/{upload_id}/undo": "log",
    "POST /sites/{slug}/readings": "log",
    "DELETE /api/sites/{slug}": "arrange",
    "DELETE /api/sites/{slug}/keys/{key_id}": "arrange",
    "DELETE /api/sites/{slug}/weather/files/{file_id}": "arrange",
    "DELETE /api/sites/{slug}/weather/source": "arrange",
    "GET /api/sites/{slug}/keys": "arrange",
    "POST /api/sites": "arrange",
    "POST /api/sites/form": "arrange",
    "POST /api/sites/{slug}/keys": "arrange",
    "POST /api/sites/{slug}/restore": "arrange",
    "POST /api/sites/{slug}/weather": "arrange",
    "PUT /api/sites/{slug}/file": "arrange",
    "PUT /api/sites/{slug}/weather/source": "arrange",
    "GET /settings": "arrange",
    "POST /settings/recipients": "arrange",
    "GET /settings/recipients/{recipient_id}": "arrange",
    "POST /settings/recipients/{recipient_id}": "arrange",
    "POST /settings/recipients/{recipient_id}/now": "arrange",
    "POST /settings/recipients/{recipient_id}/remove": "arrange",
    "POST /settings/recipients/{recipient_id}/resume": "arrange",
    "POST /settings/recipients/{recipient_id}/test": "arrange",
    "GET /sites/new": "arrange",
    "POST /example": "arrange",
    "POST /example/remove": "arrange",
    "POST /sites/new": "arrange",
    "POST /sites/{slug}/delete": "arrange",
    "POST /sites/{slug}/facts": "arrange",
    "POST /sites/{slug}/restore": "arrange",
    "POST /sites/{slug}/weather": "arrange",
    "POST /sites/{slug}/weather/files/{file_id}/drop": "arrange",
    "POST /sites/{slug}/weather/source": "arrange",
    "GET /sites/{slug}/gateway": "arrange",
    "POST /sites/{slug}/gateway": "arrange",
    "POST /sites/{slug}/gateway/{key_id}/revoke": "arrange",
    "GET /sites/{slug}/customer": "arrange",
    "POST /sites/{slug}/customer": "arrange",
    "POST /sites/{slug}/customer/{link_id}/withdraw": "arrange",
    "POST /sites/{slug}/customer/contact": "arrange",
    "GET /letters": "arrange",
    "GET /letters/{year}/{slug}": "arrange",
    "POST /letters/{year}": "arrange",
    "POST /sites/{slug}/warranty/papers": "arrange",
    "POST /sites/{slug}/warranty/terms": "arrange",
    "POST /sites/{slug}/warranty/terms/{number}/remove": "arrange",
    "POST /sites/{slug}/warranty/terms/{number}/note": "arrange",
    "POST /sites/{slug}/warranty/parts": "arrange",
    "POST /sites/{slug}/warranty/changes": "arrange",
    "GET /sites/{slug}/privacy": "arrange",
    "POST /sites/{slug}/privacy/export": "arrange",
    "POST /sites/{slug}/privacy/consents": "arrange",
    "POST /sites/{slug}/privacy/consents/{consent_id}/withdraw": "arrange",
    "GET /papers": "arrange",
    "POST /sites/{slug}/privacy/erase": "govern",
    "POST /papers/{papers_id}/erase": "govern",
    "GET /api/sites/{slug}/findings": "see",
    "POST /api/sites/{slug}/findings/{key}/step": "care",
    "POST /sites/{slug}/findings/{key}/step": "care",
    "GET /visits-worker.js": "nobody",
    "GET /visits": "see",
    "GET /visits/{visit_id}": "see",
    "GET /visits/{visit_id}/photos/{photo_id}": "see",
    "GET /visits/{visit_id}/record": "see",
    "GET /visits/{visit_id}/record.pdf": "see",
    "GET /visits/new": "care",
    "POST /visits/new": "care",
    "POST /visits/base": "arrange",
    "POST /visits/{visit_id}/drop": "care",
    "POST /visits/{visit_id}/photos/{photo_id}/remove": "care",
    "POST /visits/{visit_id}/plan": "care",
    "POST /visits/{visit_id}/save": "care",
    "POST /api/visits/{visit_id}/photos": "care",
    "POST /api/visits/{visit_id}/saves": "care",
    "GET /people": "govern",
    "POST /people": "govern",
    "POST /people/{account_id}/close": "govern",
    "POST /people/{account_id}/link": "govern",
    "POST /people/{account_id}/role": "govern",
    "POST /people/keys": "govern",
    "POST /people/keys/{key_id}/revoke": "govern",
    "GET /trail": "govern",
    "GET /operation": "govern",
    "POST /operation/pause": "govern",
    "POST /operation/resume": "govern",
    "GET /webhooks": "govern",
    "POST /webhooks": "govern",
    "POST /webhooks/{webhook_id}/remove": "govern",
    "POST /webhooks/{webhook_id}/resume": "govern",
    "POST /webhooks/{webhook_id}/test": "govern",
    "GET /api/people": "govern",
    "POST /api/people": "govern",
    "POST /api/people/{account_id}/role": "govern",
    "DELETE /api/people/{account_id}": "govern",
    "GET /api/keys": "govern",
    "POST /api/keys": "govern",
    "DELETE /api/keys/{key_id}": "govern",
    "GET /api/sites/{slug}/days": "see",
    "GET /api/sites/{slug}/sheet": "see",
    "GET /api/sites/{slug}/links": "arrange",
    "POST /api/sites/{slug}/links": "arrange",
    "DELETE /api/sites/{slug}/links/{link_id}": "arrange",
    "GET /api/webhooks": "govern",
    "POST /api/webhooks": "govern",
    "DELETE /api/webhooks/{webhook_id}": "govern",
    "GET /api/webhooks/{webhook_id}/deliveries": "govern",
    "POST /api/webhooks/{webhook_id}/resume": "govern",
    "POST /api/webhooks/{webhook_id}/test": "govern",
    "POST /settings/first-password": "govern",
}
HAS = {
    "technician": {"see", "log", "care"},
    "office": {"see", "log", "care", "arrange"},
    "owner": {"see", "log", "care", "arrange", "govern"},
    "reader": {"see"},
    "gateway": {"gateway"},
}
JSON_BODIES = {
    "POST /api/visits/{visit_id}/saves": {
        "key": "7d0b8b0e-6a52-4a5e-9f0e-3a1c2b9d4e55",
        "sent_at": "2025-06-20T12:00:00Z",
    },
    "POST /api/sites/{slug}/findings/{key}/step": {"to": "accepted"},
    "POST /api/sites/form": {},
    "POST /api/people": {"login": "new@example.org"},
    "POST /api/people/{account_id}/role": {"role": "office"},
    "POST /api/keys": {"label": "x"},
    "POST /api/sites/{slug}/links": {"label": "x", "days": 9},
    "POST /api/webhooks": {"url": "https://x.example/", "events": ["finding.opened"]},
    "POST /api/sites/{slug}/keys": {"label": "x"},
    "POST /api/sites/{slug}/readings": {},
    "POST /api/sites/{slug}/uploads/{upload_id}/map": {},
    "PUT /api/sites/{slug}/weather/source": {"url": "https://weather.example/x"},
}


def routes(router) -> Iterator[APIRoute]:
    for route in getattr(router, "routes", ()):
        if isinstance(route, APIRoute):
            yield route
        elif hasattr(route, "original_router"):
            yield from routes(route.original_router)


class Server:
    """A server with two firms, one account of each role, keys and one site each."""

    def __init__(self, back: BackEnd, client: TestClient) -> None:
        self.back, self.client = back, client
        now = back.clock.now()
        self.slug = back.add_site()
        back.hand_in(self.slug, tidy_log(hours=30))
        back.worker().work_all()
        self.logins = {}
        with back.database.session() as db:
            for role in ("owner", "office", "technician"):
                self.logins[role] = self._account(db, back.firm_id, role, role)
            token = people.new_firm(db, name="Other", login="stranger", now=now)
            set_password_by_link(db, token=token, password=PASSWORD, now=now)
            self.logins["stranger"] = "stranger"
            owner = queries.account_by_login(db, "owner")
            sessions.start(db, account=owner, now=now, days=1)  # the one of number 1
            stranger = queries.account_by_login(db, "stranger")
            self.other_firm = stranger.firm_id
            _, self.reader = people.make_key(
                db, firm_id=back.firm_id, label="r", role="reader", now=now
            )
            site = db.get(Site, back.site_id(self.slug))
            _, self.link = make_link(db, site=site, label="x", days=9, made_by="owner", now=now)
            kept = RawStore(back.settings.data_dir).keep([b"a picture"])
            visit = Visit(
                site_id=site.id, planned_on=now.date(), note="", made_by="owner", made_at=now
            )
            db.add(visit)
            db.flush()
            db.add(
                VisitPhoto(
                    visit_id=visit.id, key="photo", sha256=kept.sha256, media_type="image/png",
                    size_bytes=1, width_px=1, height_px=1, who="owner", taken_in_at=now,
                )
            )  # fmt: skip
        self.gateway = back.add_key(self.slug)

    def _account(self, db, firm_id: int, login: str, role: str) -> str:
        now = self.back.clock.now()
        _, token = people.invite(db, firm_id=firm_id, login=login, name="", role=role, now=now)
        set_password_by_link(db, token=token, password=PASSWORD, now=now)
        return login

    def ask(self, address: str, who: str | None):
        """Send a request as somebody; each time with a sign-in of its own."""
        method, path = address.split(" ")
        for name, value in (
            ("{slug}", self.slug),
            ("{when}", "2025-06-01"),
            ("{key}", "stagnation"),
            ("{week}", "2025-W23"),
            ("{year}", "2025"),
            ("{size}", "month"),
            ("{token}", self.link),
        ):
            path = path.replace(name, value)
        path = path.replace("{number}", "1")
        for name in (
            "upload", "key", "file", "recipient", "account", "link", "webhook", "visit", "photo",
            "consent", "papers", "session",
        ):  # fmt: skip
            path = path.replace(f"{{{name}_id}}", "1")
        if path.endswith("/series"):
            path += "?from=2025-06-01&to=2025-06-01"
        if path.endswith("/uploads/summary"):
            path += "?ids=1"
        if path == "/visits/new":
            path += f"?site={self.slug}"
        if path.startswith("/api/visits/") and path.endswith("/photos"):
            path += "?key=7d0b8b0e-6a52-4a5e-9f0e-3a1c2b9d4e56"
        headers = {"accept": "text/html" if not path.startswith("/api") else "application/json"}
        if who in ("reader", "gateway"):
            headers["authorization"] = f"Bearer {getattr(self, who)}"
        elif who is not None:
            headers["cookie"] = f"{COOKIE}={self._session(who)}"
        body = {}
        if method != "GET":
            body = {"json": JSON_BODIES[address]} if address in JSON_BODIES else {"content": b""}
            if address.startswith(("POST /api/sites", "PUT /api/sites")) and "json" not in body:
                body = {"content": b"x"}
                headers["content-type"] = "application/toml"
        return self.client.request(method, path, headers=headers, **body)

    def _session(self, who: str) -> str:
        with self.back.database.session() as db:
            account = queries.account_by_login(db, self.logins[who])
            return sessions.start(db, account=account, now=self.back.clock.now(), days=1)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with back_ends(tmp_path_factory.mktemp("roles")) as make:
        back = make(host="0.0.0.0")
        client = TestClient(
            back.app(), base_url=PUBLIC, follow_redirects=False, raise_server_exceptions=False
        )
        with client:
            yield Server(back, client)


def test_the_table_names_every_address(server: Server) -> None:
    served = {
        f"{method} {route.path}"
        for route in routes(server.client.app)
        for method in route.methods - {"HEAD"}
    }
    assert served == set(NEEDS)


def needs(address: str) -> set[str]:
    return set(NEEDS[address].split(" or "))


CLOSED = [address for address in NEEDS if NEEDS[address] not in ("nobody", "link")]


@pytest.mark.parametrize("address", CLOSED)
def test_strangers_are_turned_away(server: Server, address: str) -> None:
    answer = server.ask(address, None)
    if address.startswith("GET") and "/api/" not in address:
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/sign-in")
    else:
        assert answer.status_code == 401


@pytest.mark.parametrize(
    ("address", "who"),
    [(address, who) for address in CLOSED for who in HAS if not needs(address) & HAS[who]],
)
def test_a_role_without_the_right_is_refused(server: Server, address: str, who: str) -> None:
    # A sender of rows without a gateway's key is told to show one.
    expected = {401, 403} if NEEDS[address] == "gateway" else {403}
    assert server.ask(address, who).status_code in expected


@pytest.mark.parametrize(
    "address", [one for one in CLOSED if "{" in one and NEEDS[one] != "gateway"]
)
def test_another_firms_things_are_not_there(server: Server, address: str) -> None:
    if address in ("GET /digest/{week}", "POST /letters/{year}"):
        assert "Mill Lane" not in server.ask(address, "stranger").text
        return
    assert server.ask(address, "stranger").status_code == 404


def test_lists_hold_nothing_of_another_firm(server: Server) -> None:
    lists = ("GET /", "GET /api/sites", "GET /visits", "GET /people", "GET /trail", "GET /settings")
    for address in lists:
        answer = server.ask(address, "stranger")
        assert answer.status_code == 200
        assert "Mill Lane" not in answer.text
        assert "technician</h3>" not in answer.text


# What changes something comes last for each role, what takes the site away last of all.
ORDER = sorted(CLOSED, key=lambda a: (not a.startswith("GET"), "delete" in a.lower()))


@pytest.mark.parametrize("who", ["reader", "gateway", "technician", "office", "owner"])
def test_a_role_with_the_right_gets_in(server: Server, who: str) -> None:
    for address in ORDER:
        if not needs(address) & HAS[who]:
            continue
        answer = server.ask(address, who)
        good = answer.status_code not in (401, 403, 500)
        if address.startswith("GET") and not (
            {"{key}", "{upload_id}", "{recipient_id}", "{webhook_id}", "{year}", "{photo_id}"}
            & set(address.split("/"))
            or address.endswith("file")
        ):
            good = answer.status_code == 200 or (who == "reader" and answer.status_code == 409)
        assert good, (address, who, answer.status_code, answer.text[-300:])


def test_every_deed_has_words(server: Server) -> None:
    changing = [one for one in routes(server.client.app) if one.methods - {"HEAD", "GET"}]
    for route in changing:
        (method,) = route.methods
        if NEEDS[f"{method} {route.path}"] in ("nobody", "link"):
            continue
        area = route.endpoint.__module__.removeprefix("service.").removesuffix(".endpoints")
        assert f"{area}.{route.endpoint.__name__}" in WORDS, route.path
