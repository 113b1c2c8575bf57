"""The warranty record through its page: what it shows, what its forms keep, and who may."""

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pytest
from starlette.testclient import TestClient

from analysis.sitefile import parse_site
from service.db.models import DayMark, Site, SiteFileVersion, Visit, VisitEntry, VisitSave
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

FIRST = datetime(2025, 6, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[BackEnd, TestClient]]:
    with back_ends(tmp_path_factory.mktemp("warranty")) as make:
        back = make()
        with TestClient(back.app(), base_url=LOCAL, headers={"accept": "text/html"}) as client:
            yield back, client


class Desk:
    """A site of its own, with the page of its warranty record."""

    def __init__(self, back: BackEnd, client: TestClient, text: str) -> None:
        self.back, self.client = back, client
        self.slug = back.add_site(text=text)
        self.path = f"/sites/{self.slug}/warranty"

    @property
    def site(self) -> Site:
        with self.back.database.reading() as db:
            return db.get_one(Site, self.back.site_id(self.slug))

    def facts(self):
        return parse_site(self.site.text)

    def page(self) -> str:
        answer = self.client.get(self.path)
        assert answer.status_code == 200
        return answer.text

    def post(self, deed: str, /, *, version: int | None = None, **fields: str):
        seen = self.site.version if version is None else version
        data = {name.replace("__", "."): value for name, value in fields.items()}
        return self.client.post(f"{self.path}/{deed}", data={"version": str(seen), **data})


@pytest.fixture
def desk(served) -> Desk:
    return Desk(*served, site_file())


PAPERS = {
    "commissioned__filled": "2025-05-20",
    "commissioned__tubes_fitted": "2025-06-01",
    "commissioned__by": "A. Fitter",
    "commissioned__registration": "R 123",
    "commissioned__serials": "K 1\nK 2\n",
    "warranty__from": "2025-06-01",
    "warranty__years": "10",
    "warranty__conditions": "Frame checked",
}


DAY = {"date": "2025-06-01"}


def plain(text: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))


def test_a_site_without_papers_says_so_and_shows_how_it_went_in(desk):
    text = plain(desk.page())
    assert "No warranty is on record yet" in text
    assert "40 % propylene glycol by mass" in text
    assert "45° from level, 180° (south)" in text
    assert "There is no log to tell" in text
    assert "No visit is on record here" in text


def test_papers_are_kept_in_the_site_file_and_everything_else_stays(desk):
    before = desk.facts()
    assert desk.post("papers", **PAPERS).url.query == b"message=kept"
    found = desk.facts()
    assert found.commissioned.serials == ("K 1", "K 2")
    assert found.commissioned.tubes_fitted == date(2025, 6, 1)
    assert (found.warranty.years, found.warranty.conditions) == (10, ("Frame checked",))
    assert (found.loop, found.arrays, found.log) == (before.loop, before.arrays, before.log)
    text = plain(desk.page())
    assert "A. Fitter" in text
    assert "R 123" in text
    assert "1 June 2035" in text


def test_who_wrote_what_stands_below_and_the_old_file_is_kept(desk):
    old = desk.site.text
    desk.post("papers", **PAPERS)
    desk.post("papers", **{**PAPERS, "warranty__years": "12"})
    text = plain(desk.page())
    assert "this machine" in text
    assert "Put into service by: not given → A. Fitter" in text
    assert "Years: 10 → 12" in text
    with desk.back.database.reading() as db:
        versions = db.query(SiteFileVersion).filter_by(site_id=desk.site.id).all()
    assert [one.replaced_by for one in versions] == ["this machine"] * 2
    assert versions[0].text == old


def test_terms_are_added_noted_and_taken_out_and_none_is_lost_by_other_edits(desk):
    desk.post("papers", **PAPERS)
    desk.post("terms", kind="tubes_within", within_days="14", after="filled", text="Two weeks")
    desk.post("terms", kind="concentration", low_concentration="35,5")
    desk.post("terms", kind="other", text="Roof looked at")
    assert desk.facts().warranty.terms[1].low_concentration_frac == pytest.approx(0.355)
    text = plain(desk.page())
    assert "Kept The tubes go in within 14 days of the fill. The papers: “Two weeks”" in text
    assert "12 days after 20 May 2025" in text
    assert "The strength of the antifreeze is at least 35.5 %." in text
    desk.post("papers", **{**PAPERS, "warranty__years": "5"})
    assert len(desk.facts().warranty.terms) == 3
    desk.post("terms/3/note", kept="no", noted="2025-06-10")
    assert "Not kept Roof looked at." in plain(desk.page())
    assert "Noted on 10 June 2025 by this machine" in plain(desk.page())
    desk.post("terms/1/remove")
    assert [one.kind for one in desk.facts().warranty.terms] == ["concentration", "other"]
    assert "Term taken out: Tubes in within so many days" in plain(desk.page())


def test_parts_and_changes_are_recorded_with_their_days(desk):
    desk.post("parts", date="2025-06-03", what="pump", serial="P 7", why="was loud")
    desk.post("changes", date="2025-06-04", key="loop.concentration", value="45", why="new fluid")
    desk.post("changes", date="2025-06-05", key="array.1.tubes", value="19", why="one broke")
    found = desk.facts()
    assert found.changes[0].value == pytest.approx(0.45)
    assert found.changes[1].value == 19
    text = plain(desk.page())
    assert text.index("Tubes: 19") < text.index("Antifreeze by mass: 45 %")
    assert "New: pump, number P 7" in text


@pytest.mark.parametrize(
    ("what", "fields", "words"),
    [
        ("terms", {"kind": "visit", "years": "2"}, "first day of the warranty and its years"),
        ("papers", {**PAPERS, "commissioned__filled": "20.5.2025"}, "allowed: a date, such as"),
        ("papers", {"warranty__from": "2025-06-01"}, "“Years” is missing"),
        ("parts", DAY, "“What it was” is missing"),
        ("changes", {**DAY, "key": "loop.flow", "value": "2"}, "did you mean"),
        ("changes", {**DAY, "key": "array.1.tubes", "value": "-3"}, "a whole number"),
        ("changes", {**DAY, "key": "store.limit_c", "value": "70\n[x]"}, "store.limit_c"),
        ("terms/7/remove", {}, "first day of the warranty"),
        ("terms/1/note", {"kept": "yes"}, "on which day"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_what_was_typed_stays_and_nothing_changes(desk, what, fields, words):
    before = desk.site.text
    answer = desk.post(what, **fields)
    assert answer.status_code == 422
    assert words in plain(answer.text).replace("&#34;", '"')
    assert desk.site.text == before
    for name, value in fields.items():
        if what == "papers" and name.endswith("_by"):
            assert value in answer.text


def test_a_term_that_lacks_its_number_is_refused(desk):
    desk.post("papers", **PAPERS)
    answer = desk.post("terms", kind="hours_above", limit_c="150")
    assert answer.status_code == 422
    assert "“Hours a year at most” is missing" in answer.text


def test_what_somebody_else_changed_meanwhile_is_not_overwritten(desk):
    seen = desk.site.version
    desk.post("papers", **PAPERS)
    answer = desk.post("papers", version=seen, warranty__from="2020-01-01", warranty__years="1")
    assert answer.status_code == 422
    assert "Somebody changed this site meanwhile" in answer.text
    assert desk.facts().warranty.years == 10


def test_papers_cost_no_analysis_but_changed_facts_do(served):
    back, client = served
    desk = Desk(back, client, site_file("Elm Row 2"))
    back.hand_in(desk.slug, tidy_log(first=FIRST, hours=30, seed=7))
    back.worker().work_all()

    def marked() -> int:
        with back.database.reading() as db:
            return db.query(DayMark).filter_by(site_id=desk.site.id).count()

    desk.post(
        "papers", **{k: v for k, v in PAPERS.items() if "filled" not in k and "fitted" not in k}
    )
    desk.post("terms", kind="visit", years="1")
    desk.post("parts", date="2025-06-03", what="pump")
    assert marked() == 0
    desk.post("changes", date="2025-06-01", key="loop.flow_l_min", value="2.5")
    assert marked() > 0


def test_hot_hours_of_the_log_stand_by_years_and_hold_terms(served):
    back, client = served
    hot = []
    for line in tidy_log(first=FIRST, hours=72, seed=8).splitlines():
        cells = line.split(",")
        at = cells[0][11:16]
        if not line.startswith("time") and "10:00" < at <= "13:00":
            cells[1] = f"156.{at[3]}"
            cells[-2] = cells[-1] = "0"
        hot.append(",".join(cells))
    desk = Desk(back, client, site_file("Hot Hill 3"))
    back.hand_in(desk.slug, "\n".join(hot) + "\n")
    back.worker().work_all()
    desk.post("papers", **{**PAPERS, "commissioned__filled": "", "commissioned__tubes_fitted": ""})
    desk.post("terms", kind="hours_above", limit_c="150", most_hours="5")
    desk.post("terms", kind="never_above", limit_c="200")
    text = plain(desk.page())
    assert re.search(r"2025 9\.0 h 9\.0 h none 3 156 °C not measured", text), text
    assert (
        "Not kept The collector is above 150 °C for at most 5 h a year. At least 9 h in 2025"
        in text
    )
    # Seventeen of twenty days since the start were not logged.
    assert "Not known The collector never gets hotter than 200 °C." in text
    assert '<svg class="months hot-hours"' in desk.page()


def test_reading_needs_no_right_to_edit_and_then_shows_no_forms(tmp_path):
    from service.accounts import people

    with back_ends(tmp_path) as make:
        back = make(host="0.0.0.0")
        slug = back.add_site()
        with back.database.session() as db:
            _, key = people.make_key(
                db, firm_id=back.firm_id, label="r", role="reader", now=back.clock.now()
            )
        headers = {"authorization": f"Bearer {key}", "accept": "text/html"}
        with TestClient(back.app(), base_url="http://sun.example", headers=headers) as client:
            text = client.get(f"/sites/{slug}/warranty").text
    assert "Download the bundle" in text
    assert "Enter or put right" not in text
    assert "/warranty/papers" not in text


def test_tests_of_the_fluid_add_up_and_the_latest_stands_where_kinds_look(desk):
    desk.post("papers", **{**PAPERS, "warranty__from": "2019-06-01"})
    key = "commissioned.fluid_tested"
    for day in ("2021-06-05", "2023-06-10", "2025-06-01"):
        desk.post("changes", date=day, key=key, value=day)
    found = desk.facts()
    assert found.commissioned.fluid_tested == date(2025, 6, 1)
    assert [one.value for one in found.changes if one.key == key] == [
        date(2021, 6, 5), date(2023, 6, 10), date(2025, 6, 1),
    ]  # fmt: skip
    desk.post("terms", kind="fluid_test", years="2")
    text = plain(desk.page())
    assert "Last test or fill on record 1 June 2025; the next is due by 1 June 2027" in text


def test_an_earlier_test_that_only_the_papers_held_stays(desk):
    desk.post("papers", **PAPERS, commissioned__fluid_tested="2023-06-01")
    key = "commissioned.fluid_tested"
    desk.post("changes", date="2025-06-01", key=key, value="2025-06-01")
    assert [one.value for one in desk.facts().changes] == [date(2023, 6, 1), date(2025, 6, 1)]


def test_finished_visits_stand_on_record_and_count_for_terms(desk):
    desk.post("papers", **{**PAPERS, "warranty__from": "2021-06-01"})
    desk.post("terms", kind="visit", years="2")
    desk.post("terms", kind="fluid_test", years="2")
    assert "no visit is on record here" in plain(desk.page()).lower()
    for year, state in ((2023, "finished"), (2025, "finished"), (2025, "planned")):
        a_visit(desk, datetime(year, 6, 2, 22, 30, tzinfo=UTC), state=state)
    text = plain(desk.page())
    # Half past ten in the evening UTC is the next day in Berlin.
    assert text.count("3 June 2023 tech") == 1
    assert text.count("3 June 2025 tech") == 1
    assert "Kept Somebody looks after the plant at least every 2 years." in text
    assert "Last visit on record 3 June 2025; the next is due by 3 June 2027" in text
    assert "Last test or fill on record 3 June 2025" in text
    assert "flow set to 2.4" in text


def a_visit(desk: Desk, at: datetime, *, state: str) -> None:
    with desk.back.database.session() as db:
        visit = Visit(
            site_id=desk.site.id, planned_on=at.date(), state=state, made_by="office", made_at=at,
            finished_at=at if state == "finished" else None, finished_by="tech",
            facts_kept=["flow set to 2.4"],
        )  # fmt: skip
        db.add(visit)
        db.flush()
        save = VisitSave(visit_id=visit.id, key=f"{visit.id:036d}", who="tech", received_at=at)
        db.add(save)
        db.flush()
        entry = VisitEntry(
            visit_id=visit.id,
            save_id=save.id,
            field="fluid",
            value="passed",
            who="tech",
            typed_at=at,
        )
        db.add(entry)


def test_a_name_that_holds_markup_stays_text(served):
    back, client = served
    text = site_file().replace('"Mill Lane 4"', '"<b>Oak & Elm</b>"')
    desk = Desk(back, client, text)
    desk.post("papers", **{**PAPERS, "commissioned__by": "<script>x</script>"})
    found = desk.page()
    assert "<script>x" not in found
    assert "&lt;b&gt;Oak &amp; Elm&lt;/b&gt;" in found


def test_the_page_is_quick_enough_with_years_of_days(served):
    """Counted, not timed: one query for all days, none for each."""
    from sqlalchemy import event

    back, client = served
    desk = Desk(back, client, site_file("Long Road 5"))
    back.hand_in(
        desk.slug, tidy_log(first=FIRST - timedelta(days=9), hours=240, step_s=3600, seed=9)
    )
    back.worker().work_all()
    asked = []
    event.listen(back.database.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
    desk.page()
    assert len([one for one in asked if "day_row" in one]) == 1
