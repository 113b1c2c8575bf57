"""Rules on the text of the sources: lengths, docstrings, constants, the clock, the vocabulary."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from analysis.faults import CATALOGUE

ROOT = Path(__file__).parents[2]
PACKAGES = ("analysis", "dashboards", "service", "fixtures")
LONGEST_MODULE = 500

# The kinds that the report may name, as published with it; more may be added.
PUBLISHED_KINDS = {
    "stagnation", "lost_circulation", "low_flow", "degraded_tubes", "reverse_circulation",
    "night_running", "pump_never_stops", "short_cycling", "start_delayed", "sensor_fault",
    "sensors_swapped", "flow_reading_wrong", "pressure_loss", "poor_heat_transfer",
    "pipe_heat_loss", "shading", "backup_overlap", "charge_limit_low", "store_overheat",
    "hygiene_temperature", "fluid_stress", "clock_wrong", "silence", "high_flow",
    "vessel_charge_lost", "frost_risk", "scald_risk", "yield_shortfall", "no_draw",
    "not_yet_fitted",
}  # fmt: skip


def sources(*packages: str) -> list[Path]:
    return [path for name in packages for path in sorted((ROOT / name).rglob("*.py"))]


def tracked_texts() -> list[Path]:
    """Give every text of the tree that a reader would see."""
    kinds = {".py", ".md", ".toml", ".html", ".txt", ".js", ".css", ".yml", ".mako"}
    hidden = {".git", ".hypothesis", ".import_linter_cache", "__pycache__", ".venv", "build"}
    return [
        path
        for path in ROOT.rglob("*")
        if path.suffix in kinds and not hidden & set(path.parts) and path.is_file()
    ]


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def test_modules_are_short_enough_to_hold_one_idea():
    lines = {
        named(path): len(path.read_text(encoding="utf-8").splitlines())
        for path in sources(*PACKAGES)
    }
    assert {name: count for name, count in lines.items() if count > LONGEST_MODULE} == {}


def public_functions(path: Path) -> Iterator[tuple[str, ast.FunctionDef | ast.ClassDef]]:
    """Give public functions, classes and methods of public classes, with their dotted names."""

    def walk(body, before):
        for node in body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                yield before + node.name, node
                if isinstance(node, ast.ClassDef):
                    yield from walk(node.body, f"{before}{node.name}.")

    yield from walk(parsed(path).body, "")


def described_parameters(docstring: str) -> list[str] | None:
    """Give the names in a docstring's Parameters section, None where it has none."""
    section = re.search(
        r"^Parameters\n-+\n(.*?)(?=\n\n[A-Z][a-z]+\n-+\n|\Z)", docstring, re.DOTALL | re.MULTILINE
    )
    if section is None:
        return None
    heads = re.findall(r"^(\*{0,2}\w+(?:, \*{0,2}\w+)*) : ", section.group(1), re.MULTILINE)
    return [name.strip("* ") for head in heads for name in head.split(",")]


def signature(node: ast.FunctionDef) -> list[str]:
    given = node.args
    extra = [entry for entry in (given.vararg, given.kwarg) if entry is not None]
    names = [entry.arg for entry in (*given.posonlyargs, *given.args, *given.kwonlyargs, *extra)]
    return [name for name in names if name not in ("self", "cls")]


def test_public_names_say_what_they_do_and_what_they_take():
    for path in sources("analysis"):
        for name, node in public_functions(path):
            docstring = ast.get_docstring(node)
            assert docstring, f"{named(path)}: {name} has no docstring"
            described = described_parameters(docstring)
            if isinstance(node, ast.FunctionDef) and described is not None:
                assert sorted(described) == sorted(signature(node)), f"{named(path)}: {name}"


def test_the_docstring_check_sees_a_wrong_name():
    text = "Do.\n\nParameters\n----------\none, two : numbers\nthree : text\n\nReturns\n-------\nx"
    assert described_parameters(text) == ["one", "two", "three"]
    node = ast.parse("def f(self, one, *, two): ...").body[0]
    assert isinstance(node, ast.FunctionDef)
    assert signature(node) == ["one", "two"]


CONVERSIONS = frozenset({3600, 86400, 3.6e6, 273.15, 43200})


def test_conversion_numbers_live_in_one_place():
    found = [
        f"{named(path)} line {node.lineno}: {node.value}"
        for path in sources("analysis")
        if path.name != "units.py"
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.Constant)
        and type(node.value) in (int, float)
        and node.value in CONVERSIONS
    ]
    assert not found, found


def test_pure_packages_never_ask_for_the_time():
    asked = {"now", "utcnow", "today", "time", "time_ns", "monotonic", "perf_counter"}
    found = [
        f"{named(path)} line {node.lineno}"
        for path in sources("analysis", "dashboards")
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and node.func.value.id in ("datetime", "date", "time", "pd")
        and node.func.attr in asked
    ]
    assert not found, found


def test_no_text_of_the_tree_names_the_place_it_was_written_in():
    places = ["/".join(("", name)) for name in ("work/main", "work/shared", "tmp/venv", "tmp/dev")]
    found = [
        f"{named(path)}: {place}"
        for path in tracked_texts()
        for place in places
        if place in path.read_text(encoding="utf-8", errors="replace")
    ]
    assert not found, found


def test_every_kind_is_one_that_the_report_publishes():
    assert {fault.kind for fault in CATALOGUE} <= PUBLISHED_KINDS


def test_every_fault_has_its_heading_in_the_developers_guide():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    headings = set(re.findall(r"^### (\S+)", guide, re.MULTILINE))
    assert {fault.kind for fault in CATALOGUE} <= headings
