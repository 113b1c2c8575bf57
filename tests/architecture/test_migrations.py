"""Migrations are one chain: two written side by side would leave no way to the newest tables."""

import ast
from pathlib import Path

import service.migrations.versions

VERSIONS = Path(service.migrations.versions.__file__).parent


def place(path: Path) -> tuple[str, str | None]:
    """Give the number of a migration and that of the one before it."""
    told = {
        target.id: ast.literal_eval(node.value)
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    return told["revision"], told["down_revision"]


def test_each_migration_follows_the_one_before() -> None:
    places = sorted(place(path) for path in VERSIONS.glob("2*.py"))
    assert places[0][1] is None
    assert [before for _, before in places[1:]] == [number for number, _ in places[:-1]]
