"""The API against its own description: requests drawn from it by a generator end in no 5xx.

Each address gets a few valid and a few broken requests, always the same ones; `schemathesis run`
against a server of one's own draws more.
"""

from collections.abc import Iterator

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import Case, GenerationMode
from starlette.testclient import TestClient

from service.accounts.actions import reset_password
from tests.build_service import LOCAL, BackEnd, back_ends, tidy_log

PASSWORD = "a good password"
DRAWING = settings(
    max_examples=3,
    database=None,
    deadline=None,
    derandomize=True,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@schemathesis.serializer("application/toml", "application/octet-stream", "image/jpeg")
def as_drawn(_context: object, value: object) -> bytes:
    return value if isinstance(value, bytes) else str(value).encode("utf-8", "replace")


@pytest.fixture(scope="module")
def back(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BackEnd]:
    with back_ends(tmp_path_factory.mktemp("described")) as make:
        back = make()
        back.hand_in(back.add_site(), tidy_log(hours=24))
        back.worker().work_all()
        with back.database.session() as db:
            reset_password(db, login="owner", password=PASSWORD, now=back.clock.now())
        yield back


@pytest.fixture(scope="module")
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, raise_server_exceptions=False) as client:
        # Drawn requests make accounts, and then nobody comes in without signing in.
        client.post("/sign-in", data={"login": "owner", "password": PASSWORD})
        yield client


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # arguments made for another client
def test_no_drawn_request_ends_in_an_error_of_our_own(back: BackEnd, client: TestClient) -> None:
    key = back.add_key("mill-lane-4")
    schema = schemathesis.openapi.from_dict(client.get("/openapi.json").json())
    asked: dict[str, set[int]] = {}

    def ask(case: Case) -> None:
        label = case.operation.label
        # A drawn slug leads nowhere: what is not meant to be broken is about a real site.
        whole = case.meta.generation.mode is GenerationMode.POSITIVE
        if whole and "slug" in case.path_parameters:
            case.path_parameters["slug"] = "mill-lane-4"
        if label.endswith("/rows"):
            case.headers["authorization"] = f"Bearer {key}"
        given_to = case.as_transport_kwargs(base_url=LOCAL)
        del given_to["cookies"]  # none is part of the description
        answer = client.request(**given_to, follow_redirects=False)
        assert answer.status_code < 500, f"{label}: {given_to}\n{answer.text[:400]}"
        asked.setdefault(label, set()).add(answer.status_code)

    for found in schema.get_all_operations():
        operation = found.ok()
        # Any text may be a slug: what takes nothing else cannot be asked in a broken way, and the
        # generator would look for one hundreds of times.
        more = len(operation.body) or any(one.name != "slug" for one in operation.iter_parameters())
        modes = [GenerationMode.POSITIVE, *([GenerationMode.NEGATIVE] if more else [])]
        for mode in modes:
            drawn = operation.as_strategy(generation_mode=mode)
            DRAWING(given(case=drawn)(ask))()
    assert len(asked) == sum(len(methods) for methods in schema.raw_schema["paths"].values())
    # It gets in somewhere: a generator that is refused everywhere shows nothing.
    assert sum(any(status < 300 for status in seen) for seen in asked.values()) > len(asked) / 4
