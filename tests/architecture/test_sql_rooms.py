"""SQL stands in the modules made for it, and only whoever opened a transaction ends it."""

import ast
from pathlib import Path

import pytest

SERVICE = Path(__file__).parents[2] / "service"
ROOMS = {"queries.py", "layer_queries.py", "claims.py", "outbox.py", "engine.py"}
SQL = {"select", "insert", "update", "delete", "func", "text"}
MODULES = sorted(
    path
    for path in SERVICE.rglob("*.py")
    if not {"migrations", "models"} & set(path.relative_to(SERVICE).parts)
)


def name(path: Path) -> str:
    return str(path.relative_to(SERVICE))


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_statements_are_written_in_query_modules_only(path: Path) -> None:
    imported = {
        alias.name
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module == "sqlalchemy"
        for alias in node.names
    }
    assert path.name in ROOMS or not imported & SQL


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_nobody_commits_by_hand(path: Path) -> None:
    ended = [
        node.lineno
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in ("commit", "rollback")
    ]
    assert ended == []  # `Database.session` does it at its end
