"""A map saved into a site file: the rest of the text stays as somebody wrote it."""

import pytest

from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_site
from analysis.sitefile_splice import with_log
from tests.build_service import SITE_FILE

BARE = SITE_FILE.format(name="Mill Lane 4") + "# the last word\n"
MAP = LogMap(
    timezone="UTC",
    date_order="day_first",
    columns=(("S1 [log]", ColumnMeaning(channel="collector", unit="C")),),
)
OLD = '\n[log]  # by hand\ntimezone = "Europe/Berlin"\n[log.columns]\n"a" = { channel = "flow" }\n'


@pytest.mark.parametrize(
    "text",
    [BARE, BARE + OLD, BARE.replace("[loop]", OLD + "\n[loop]"), BARE.replace("\n", "\r\n")],
    ids=["none before", "at the end", "in the middle", "other line ends"],
)
def test_the_map_replaces_the_one_before_and_nothing_else(text: str) -> None:
    found = with_log(text, MAP)
    assert parse_site(found).log == MAP
    assert "# the last word" in found
    assert "by hand" not in found
    before = BARE.splitlines()[:20]
    assert [line for line in found.splitlines() if "log" not in line][:20] == before


def test_an_empty_map_takes_the_table_away() -> None:
    assert with_log(BARE + OLD, LogMap()).strip() == BARE.strip()


def test_what_cannot_be_cut_is_written_anew() -> None:
    text = 'log.timezone = "UTC"\n' + BARE  # a dotted key on top
    found = with_log(text, MAP)
    assert parse_site(found).log == MAP
    assert parse_site(found).store == parse_site(text).store


def test_text_in_a_multi_line_string_is_no_heading() -> None:
    text = BARE.replace('name = "Mill Lane 4"', 'name = """Mill\n[log]\nLane"""')
    found = with_log(text, MAP)
    assert parse_site(found).place.name == parse_site(text).place.name
    assert parse_site(found).log == MAP
