"""The API describes itself: every route says what it does, what it gives, and shows one."""

from collections.abc import Iterator
from typing import get_args, get_type_hints

import pytest
from fastapi.testclient import TestClient
from pydantic import BaseModel

from service.openapi import EXAMPLES
from tests.api.test_roles import routes
from tests.build_service import LOCAL, back_ends


@pytest.fixture(scope="module")
def described(tmp_path_factory) -> Iterator[dict]:
    with (
        back_ends(tmp_path_factory.mktemp("openapi")) as make,
        TestClient(make().app(), base_url=LOCAL) as client,
    ):
        yield client.get("/openapi.json").json()


def operations(described):
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            if path.startswith("/api/"):
                yield f"{method.upper()} {path}", operation


def named(schema: dict) -> str | None:
    """Give the model that a schema is, or is a list of."""
    inner = schema.get("items", schema)
    return inner["$ref"].rsplit("/", 1)[-1] if "$ref" in inner else None


def test_every_route_says_what_it_does_and_gives(described):
    lacking = []
    for name, operation in operations(described):
        if not operation.get("summary") or not operation.get("description"):
            lacking.append(f"{name}: no words")
        for code, answer in operation["responses"].items():
            content = answer.get("content", {})
            if code.startswith("2") and code != "204" and not content:
                lacking.append(f"{name}: {code} says nothing of its content")
            for kind, given in content.items():
                if code.startswith("2") and kind == "application/json" and not given["schema"]:
                    lacking.append(f"{name}: {code} has no model")
    assert lacking == []


def test_every_route_shows_an_example(described):
    models = described["components"]["schemas"]

    def shows(part: dict) -> bool:
        if "example" in part or "examples" in part:
            return True
        model = named(part.get("schema", {}))
        return model is not None and bool(models[model].get("examples"))

    lacking = []
    for name, operation in operations(described):
        good = [a for code, a in operation["responses"].items() if code.startswith("2")]
        parts = [part for one in good for part in one.get("content", {}).values()]
        parts += operation.get("requestBody", {}).get("content", {}).values()
        if parts and not any(shows(part) for part in parts):
            lacking.append(name)
    assert lacking == []


def models_of(app) -> dict[str, type[BaseModel]]:
    """Give every model that a route takes or gives, by name."""
    found: dict[str, type[BaseModel]] = {}
    for route in routes(app):
        if route.path.startswith("/api/"):
            hints = get_type_hints(route.endpoint)
            for hint in (*hints.values(), route.response_model):
                for one in (hint, *get_args(hint)):
                    if isinstance(one, type) and issubclass(one, BaseModel):
                        found[one.__name__] = one
    return found


def test_examples_are_what_their_models_take(tmp_path):
    with back_ends(tmp_path) as make:
        models = models_of(make().app())
    seen = set()
    for name, model in models.items():
        own = (model.model_config.get("json_schema_extra") or {}).get("examples", ())
        for example in (*own, *([EXAMPLES[name]] if name in EXAMPLES else [])):
            model.model_validate(example)
            seen.add(name)
    assert set(EXAMPLES) <= seen
    assert len(seen) > 25
