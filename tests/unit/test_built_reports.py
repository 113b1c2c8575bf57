"""Built reports are shared while they are held, and what nobody asks for makes room."""

from analysis.results import report_from_json, report_json
from service.assessments.built import BuiltReports
from tests.build_report import a_report


def test_a_report_is_built_once_and_shared() -> None:
    built, stored = BuiltReports(), report_json(a_report())
    first = built.keep("a", stored)
    assert first == report_from_json(stored)
    assert built.get("a") is first
    assert built.get("b") is None


def test_the_one_asked_for_the_longest_ago_makes_room() -> None:
    # Each of these takes 365 days and 50 for the rest.
    built, stored = BuiltReports(most_days=1000), report_json(a_report())
    built.keep("a", stored)
    built.keep("b", stored)
    built.get("a")
    built.keep("c", stored)
    assert built.get("b") is None
    assert built.get("a") is not None
    assert built.get("c") is not None
    # One that alone is larger than all room is held until the next comes.
    small = BuiltReports(most_days=10)
    assert small.keep("a", stored) is small.get("a")
