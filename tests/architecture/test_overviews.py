"""The guide's tables are those of the code."""

from tests.architecture.overviews import GUIDE, guide_as_it_should_be


def test_the_tables_of_the_guide_are_up_to_date():
    text = GUIDE.read_text(encoding="utf-8")
    assert text == guide_as_it_should_be(text), "run python -m tests.architecture.overviews"
