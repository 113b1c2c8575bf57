"""SQL stands in the modules made for it, and only whoever opened a transaction ends it."""

import ast
from collections.abc import Iterator
from pathlib import Path

SERVICE = Path(__file__).parents[2] / "service"
ROOMS = {
    "queries.py", "layer_queries.py", "push_queries.py", "row_queries.py", "claims.py", "outbox.py",
    "engine.py",
}  # fmt: skip
SQL = {"select", "insert", "update", "delete", "func", "text"}
MODULES = sorted(
    path
    for path in SERVICE.rglob("*.py")
    if not {"migrations", "models"} & set(path.relative_to(SERVICE).parts)
)


def nodes() -> Iterator[tuple[Path, ast.AST]]:
    """Give what every module of the service is made of."""
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            yield path.relative_to(SERVICE), node


def test_statements_are_written_in_query_modules_only() -> None:
    imported = [
        f"{path}: {alias.name}"
        for path, node in nodes()
        if isinstance(node, ast.ImportFrom) and node.module == "sqlalchemy"
        for alias in node.names
        if alias.name in SQL and path.name not in ROOMS
    ]
    assert imported == []


def test_nobody_commits_by_hand() -> None:
    ended = [
        f"{path} line {node.lineno}"
        for path, node in nodes()
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in ("commit", "rollback")
    ]
    assert ended == []  # `Database.session` does it at its end
