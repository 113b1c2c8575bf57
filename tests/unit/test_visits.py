"""Visits without a service: distances, numbers as typed, the order of the list, the record."""

import dataclasses
from datetime import date

import pytest

from analysis.faults import CATALOGUE
from analysis.results import Bounded
from analysis.sitefile import parse_site
from dashboards.format import sentence
from dashboards.links import finding_key
from dashboards.visits.distance import as_the_crow_flies_km, distance_words
from dashboards.visits.fields import FLUID, LOOP, problem_of, typed_number, typed_tubes
from dashboards.visits.listing import ListedSite, PlannedVisit, planned_days, wanting_sites
from dashboards.visits.page import verdict
from dashboards.visits.record import LookedAt, record_view
from dashboards.visits.record_words import DE, EN
from service.visits.routine import CHECKS
from tests.build_report import a_finding, a_report, at
from tests.build_service import site_file

ARRAYS = parse_site(site_file()).arrays
LOW_FLOW = next(fault for fault in CATALOGUE if fault.kind == "low_flow")
STANDING = a_finding(start_s=at(12, 1, 9), end_s=None, urgency="act")


@pytest.mark.parametrize(
    ("one", "other", "km"),
    [
        # A quarter of a great circle of the mean sphere: pi/2 times 6371.0088 km, by arithmetic.
        ((0.0, 0.0), (90.0, 0.0), 10007.557),
        ((0.0, 0.0), (0.0, 90.0), 10007.557),
        # Half of it, across the date line at the poles' far side.
        ((0.0, 179.5), (0.0, -179.5), 111.195),
        # One minute of arc of a great circle is a nautical mile, 1852 m, within 0.1 % (the mile's
        # definition; the sphere's minute is 1853.2 m).
        ((52.0, 1.0), (52.0 + 1 / 60, 1.0), 1.8532),
        ((48.0, 11.0), (48.0, 11.0), 0.0),
    ],
)
def test_distances_are_those_of_the_sphere(one, other, km) -> None:
    assert as_the_crow_flies_km(one, other) == pytest.approx(km, rel=1e-4, abs=1e-9)
    assert as_the_crow_flies_km(other, one) == pytest.approx(km, rel=1e-4, abs=1e-9)


def test_distances_are_said_to_be_as_the_crow_flies() -> None:
    said = [distance_words(km) for km in (0.4, 4.23, 38.4, 1234.0)]
    assert [one.split(" as")[0] for one in said] == ["under 1 km", "4.2 km", "38 km", "1,234 km"]
    assert all(one.endswith("as the crow flies") for one in said)


PRESSURE = LOOP.fields[0]
FREEZING = FLUID.fields[1]


@pytest.mark.parametrize(
    ("field", "text", "value"),
    [
        (PRESSURE, "1,8", 1.8),
        (PRESSURE, " 1.8 ", 1.8),
        (PRESSURE, "1.200", 1.2),  # 1200 bar cannot be meant
        (FREEZING, "−28", -28.0),
        (FREEZING, "-28,5", -28.5),
    ],
)
def test_numbers_are_read_as_typed_by_hand(field, text: str, value: float) -> None:
    assert typed_number(field, text) == value


def test_tubes_are_numbers_and_spans() -> None:
    assert typed_tubes("7-9, 3", tubes=20) == (3, 7, 8, 9)
    for text in ("0", "21", "9-7", "three"):
        with pytest.raises(ValueError, match="Tubes changed"):
            typed_tubes(text, tubes=20)


def test_what_no_field_knows_and_what_is_empty_has_no_problem() -> None:
    assert problem_of("check.0.1", "anything", ARRAYS) is None
    assert problem_of("ph", "  ", ARRAYS) is None
    assert problem_of("ph", "x", ARRAYS) is not None


def listed(name: str, *found, money: bool = True, **given) -> ListedSite:
    report = a_report(findings=found)
    if not money:
        report = dataclasses.replace(report, savings=None)
    facts = {"done": (), "planned": (), "place": (48.0, 11.0), **given}
    return ListedSite(slug=name, name=name, report=report, **facts)


def test_urgency_comes_before_money_and_money_before_heat() -> None:
    much = dataclasses.replace(STANDING, lost=Bounded(value=500.0, low=400.0, high=600.0))
    calm = dataclasses.replace(much, urgency="visit")
    sites = [
        listed("visit, much", calm),
        listed("act, little", STANDING),
        listed("act, no price", much, money=False),
        listed("act, much", much),
        listed("put right", much, done=[finding_key(much)]),
        listed("planned", much, planned=[finding_key(much)]),
        listed("watch", dataclasses.replace(much, urgency="watch")),
        listed("over", dataclasses.replace(much, end_s=at(12, 20))),
    ]
    found = wanting_sites(sites, texts={}, base=None)
    order = ["act, much", "act, little", "act, no price", "visit, much"]
    assert [one.name for one in found] == order
    assert found[2].money_a_week is None
    assert found[0].distance is None


def test_the_cost_of_a_week_is_that_of_the_days_it_lasted() -> None:
    """31 days, all loss within them: the last 30 hold 30 shares, a week 7 of them."""
    days = [
        one._replace(expected_kwh=3.0, delivered_kwh=1.0)
        for one in a_report().days
        if one.date >= "2025-12-01"
    ]
    lost = Bounded(value=62.0, low=31.0, high=93.0)
    finding = dataclasses.replace(STANDING, start_s=at(12, 1), lost=lost)
    report = dataclasses.replace(a_report(findings=(finding,)), days=tuple(days), savings=None)
    site = ListedSite(
        slug="a", name="a", report=report, done=(), planned=(), place=(48.0, 11.0)
    )  # fmt: skip
    (found,) = wanting_sites([site], texts={}, base=(48.0, 11.0))
    # 62 kWh over 31 days is 2 kWh a day, 14 kWh a week, by arithmetic.
    assert found.heat_a_week == "14 kWh, likely between 7 and 21"
    assert found.distance == "under 1 km as the crow flies"


def test_a_day_goes_from_the_urgent_to_the_near() -> None:
    def visit(number: int, urgency, latitude: float, on: date) -> PlannedVisit:
        return PlannedVisit(
            id=number, slug="a", site=f"site {number}", on=on, place=(latitude, 11.0),
            technician="", note="", titles=(), urgency=urgency,
        )  # fmt: skip

    today = date(2026, 1, 2)
    days = planned_days(
        [
            visit(1, "visit", 48.5, today),
            visit(2, None, 48.1, today),
            visit(3, "visit", 48.2, today),
            visit(4, "act", 49.0, today),
            visit(5, None, 48.0, date(2026, 1, 1)),
        ],
        base=(48.0, 11.0),
        today=today,
    )
    assert [(day.iso, day.late) for day in days] == [("2026-01-01", True), ("2026-01-02", False)]
    assert [line.id for line in days[1].visits] == [4, 3, 1, 2]
    assert days[1].words == "Today, Fri 2 January 2026"


@pytest.mark.parametrize(
    ("finding", "state", "mood", "says"),
    [
        (STANDING, "new", "bad", "still shows"),
        (STANDING, "put_right", "open", "waiting for the next logs"),
        (dataclasses.replace(STANDING, end_s=at(12, 20)), "put_right", "good", "Over since"),
        (None, "new", "good", "do not show it any more"),
        (STANDING, "came_back", "bad", "came back"),
        (None, "confirmed", "good", "confirmed by the data"),
    ],
)
def test_the_verdict_follows_data_and_life(finding, state: str, mood: str, says: str) -> None:
    told = verdict("x", finding, a_report(), kind="lost_circulation", state=state)
    assert told.mood == mood
    assert says in told.words


def test_what_cannot_be_judged_is_not_called_good() -> None:
    told = verdict("x", None, a_report(), kind="pressure_loss", state="put_right")
    assert told.mood == "open"
    assert "do not let it be judged" in told.words
    assert verdict("x", None, None, kind="x", state="new").mood == "open"


def test_both_languages_of_the_record_say_the_same_things() -> None:
    for name in ("outcomes", "results", "choices"):
        assert getattr(EN, name).keys() == getattr(DE, name).keys()
    measured = {one.name for group in (LOOP, FLUID) for one in group.fields}
    assert measured <= DE.fields.keys()
    # Every finding and every check that can be on a record, and no line that nothing needs.
    assert {fault.kind for fault in CATALOGUE} == DE.kinds.keys()
    shown = {sentence(one) for fault in CATALOGUE for one in fault.text.check_next} | {*CHECKS}
    assert shown == DE.checks.keys()


def test_a_german_record_is_german_throughout_and_keeps_words_that_nobody_knows() -> None:
    checks = (sentence(LOW_FLOW.text.check_next[2]), "Look behind the old shed.")
    view = record_view(
        {"check.0.0": "found", "check.0.1": "fine", "finding.0.outcome": "put_right"},
        [LookedAt(place=0, kind="low_flow", title="Too little flow", checks=checks)],
        arrays=ARRAYS,
        site="Mill Lane 4",
        number=3,
        finished_on=date(2026, 1, 1),
        finished_by="A. Technician",
        facts=("flow: 2 l/min from 1 January 2026 on", "meter read: 812.0 kWh"),
        later=(),
        photos=0,
        language="de",
        today=date(2026, 1, 1),
    )
    (part,) = view.parts
    assert (part.title, part.outcome) == ("Zu wenig Durchfluss", "behoben")
    (german, result, language), (kept, _, english) = part.checks
    assert german.startswith("Vor Ort: den Durchflusseinsteller bei voller Leistung ablesen")
    assert (result, language) == ("das war es", "de")
    assert (kept, english) == ("Look behind the old shed.", "en")
    assert view.facts == ("Angaben aus diesem Besuch: 2.",)


def test_the_record_keeps_what_cannot_be_read_as_it_was_typed() -> None:
    view = record_view(
        {"ph": "acid", "pressure_left_bar": "1.9", "tubes.1.changed": "all"},
        [LookedAt(place="routine", kind=None, title="", checks=("a", "b"))],
        arrays=ARRAYS,
        site="Mill Lane 4",
        number=3,
        finished_on=None,
        finished_by="",
        facts=(),
        later=(),
        photos=0,
        language="de",
        today=date(2026, 1, 1),
    )
    assert dict(view.measured) == {
        "Druck hinterlassen": "1,9 bar", "pH-Wert": "acid", "Röhren getauscht": "all",
    }  # fmt: skip
    assert view.parts[0].checks == ()
    assert view.day is None
    assert view.other_language == "en"
