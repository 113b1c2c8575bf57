"""What mails say: the digest and the urgent mail. All reports are invented."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest

from analysis.results import Bounded, Verdict
from dashboards.digest_mail import digest_mail, digest_page
from dashboards.digest_shapes import DigestSite
from dashboards.links import finding_key
from dashboards.mails import STANDING_CAUTION, trial_mail, urgent_mail
from dashboards.weeks import Week
from tests.build_report import a_finding, a_report, an_empty_report, at

BASE = "https://suntally.example"
WEEK = Week(2025, 38)  # 15 to 21 September
LONDON = "Europe/London"


def moment(*parts: int) -> float:
    return datetime(*parts, tzinfo=UTC).timestamp()


def site(name: str = "Mill Lane 4", *findings, seen: float | None = None, **given) -> DigestSite:
    report = a_report(site=name, findings=findings)
    first_seen = {} if seen is None else {finding_key(one): seen for one in findings}
    slug = re.sub(r"[^a-z0-9]+", "-", name.lower())
    return DigestSite(**{"slug": slug, "name": name, "report": report, "first_seen": first_seen,
                         **given})  # fmt: skip


def tubes(**given):
    return a_finding(**{"kind": "degraded_tubes", "start_s": at(8, 20), "end_s": None, **given})


def frost(**given):
    return a_finding(**{"kind": "frost_risk", "urgency": "act", "start_s": at(9, 17),
                        "end_s": None, "lost": None, **given})  # fmt: skip


def page_of(*sites: DigestSite, week: Week = WEEK):
    return digest_page(sites, days=week.days, timezone=LONDON, base_url=BASE, texts={})


def mail_of(*sites: DigestSite, week: Week = WEEK):
    return digest_mail(page_of(*sites, week=week))


def test_sites_are_ranked_by_urgency_and_then_by_heat_lost_in_the_week():
    page = page_of(
        site("Small loss", tubes(lost=Bounded(value=10.0, low=5.0, high=15.0))),
        site("Large loss", tubes(lost=Bounded(value=90.0, low=60.0, high=120.0))),
        site("Frost", frost()),
        site("Fine"),
    )
    assert [block.name for block in page.changed] == ["Frost", "Large loss", "Small loss"]
    assert page.headline == "3 of 4 roofs need somebody"
    assert page.calm == ("Fine",)
    assert page.subject.startswith("3 of 4 roofs need somebody")
    assert page.subject.endswith("15 to 21 September 2025")


def test_the_losses_of_the_week_are_those_of_its_days():
    loss = Bounded(value=100.0, low=80.0, high=120.0)
    report = a_report(findings=(tubes(lost=loss),))
    gaps = {
        day.date: max(0.0, day.expected_kwh - day.delivered_kwh)
        for day in report.days
        if day.date >= "2025-08-20" and day.expected_kwh is not None
    }
    share = sum(kwh for day, kwh in gaps.items() if "2025-09-15" <= day <= "2025-09-21") / sum(
        gaps.values()
    )
    page = page_of(DigestSite(slug="a", name="A", report=report))
    assert page.lost is not None
    assert float(page.lost.split()[0]) == pytest.approx(100 * share, abs=0.051)


@pytest.mark.parametrize(
    ("finding", "seen", "words"),
    [
        (tubes(), moment(2025, 8, 25), "Still open"),
        (tubes(start_s=at(9, 16)), moment(2025, 9, 17), "New"),
        # A late log: it began long ago and was first seen in the week.
        (tubes(), moment(2025, 9, 18), "New"),
        # First seen on Sunday night after the Sunday's data, before the digest went out.
        (tubes(), moment(2025, 9, 22, 3), "New"),
        # ... and so it is not new once more a week later: seen before that Monday's mail.
        (tubes(), moment(2025, 9, 15, 3), "Still open"),
        # Weeks before the site was watched at all go by the finding's own days.
        (tubes(start_s=at(9, 16)), moment(2026, 5, 1), "New"),
        (tubes(), moment(2026, 5, 1), "Still open"),
        (tubes(end_s=at(10, 20)), moment(2025, 8, 25), "Still open"),
    ],
)
def test_a_finding_is_new_in_one_week_only(finding, seen, words):
    page = page_of(site("A", finding, seen=seen))
    assert [line.status for block in page.changed for line in block.findings] == [words]


def test_what_ended_in_the_week_was_put_right():
    page = page_of(site("A", tubes(end_s=at(9, 19))), site("B", tubes(end_s=at(9, 12))))
    assert page.changed == ()
    assert [line.name for line in page.put_right] == ["A"]
    assert page.tally == "1 put right"


def test_what_people_put_right_asks_nobody_until_the_logs_have_spoken():
    waiting = replace(site("A", tubes()), states={finding_key(tubes()): "put_right"})
    page = page_of(waiting, site("B", tubes()))
    assert page.headline == "1 of 2 roofs needs somebody"
    assert [block.name for block in page.changed] == ["B"]
    (line,) = page.watching
    assert line.name == "A"
    assert line.words.endswith("(put right, waiting for the next logs).")


def test_what_comes_after_the_week_is_not_in_it():
    page = page_of(site("A", tubes(start_s=at(9, 23))))
    assert (page.changed, page.put_right, page.calm) == ((), (), ("A",))


def test_each_finding_comes_with_caution_first_check_and_link():
    mail = mail_of(site("A", tubes()))
    finding = tubes()
    for text in (mail.text, mail.html):
        flat = " ".join(re.sub(r"<[^>]*>", " ", text).split())
        assert " ".join(finding.cautions[0].split()) in flat
        assert finding.check_next[0] in flat
        assert flat.index("Take care") < flat.index("First check")
        assert f"{BASE}/sites/a/findings/degraded_tubes-20250820T0000" in text
        assert STANDING_CAUTION.split(".")[0] in flat


def test_no_check_goes_out_without_a_caution():
    mail = mail_of(site("A", tubes(cautions=())))
    assert "First check" in mail.text
    assert mail.text.index("Take care: Hot fluid and steam") < mail.text.index("First check")


def test_nothing_about_who_is_away_is_mailed():
    away = a_finding(kind="no_draw", urgency="act", end_s=None, start_s=at(9, 16),
                     summary="Nobody used hot water.")  # fmt: skip
    unjudged = Verdict(kind="no_draw", outcome="cannot_judge", why="no draws are logged")
    one = site("A", away)
    one = replace(one, report=replace(one.report, verdicts=(unjudged,)))
    mail = mail_of(one)
    for text in (mail.subject, mail.text, mail.html):
        assert "draw" not in text.lower()
        assert "hot water" not in text.lower()


def test_who_could_not_be_judged_stands_there_with_the_reason():
    empty = replace(an_empty_report(), verdicts=())
    page = page_of(
        site("Judged"),
        site("No log", report=None),
        site("Refused", report=None, why_not="its log was refused: log.csv is empty"),
        DigestSite(slug="b", name="Broken", report=empty, why_not="It could not be assessed"),
    )
    words = {line.name: line.words for line in page.unjudged}
    assert words["No log"] == "no log has been handed in yet."
    assert words["Refused"] == "its log was refused: log.csv is empty."
    assert words["Judged"] == "no pressure was logged (pressure loss)."
    assert words["Broken"] == "It could not be assessed."
    assert page.calm == ("Judged",)
    assert page.unjudged[-1].name == "Judged"


def test_sites_that_lack_the_same_share_a_line():
    page = page_of(*(site(f"House {number}") for number in range(9)))
    (line,) = page.unjudged
    assert line.name == "House 0, House 1, House 2, House 3 and 5 other roofs"
    assert line.words == "no pressure was logged (pressure loss)."


def test_a_site_of_which_nothing_is_known_breaks_nothing():
    mail = mail_of(DigestSite(slug="e", name="Empty", report=an_empty_report()))
    assert "0 kWh" not in mail.text
    assert mail_of().text.startswith("NO SITE IS REGISTERED YET")


def test_watched_findings_take_one_line_and_noted_ones_none():
    page = page_of(
        site("A", tubes(urgency="watch")),
        site("B", tubes(urgency="record", kind="stagnation")),
    )
    assert [line.name for line in page.watching] == ["A"]
    assert page.calm == ("B",)
    assert page.headline == "No roof needs anybody"


def test_a_large_fleet_stays_readable():
    many = [site(f"Site {number:03d}", tubes()) for number in range(60)]
    page = page_of(*many)
    assert len(page.changed) == 25
    assert page.changed_more == "and 35 further sites"
    assert len(mail_of(*many).html) < 100_000  # some clients cut a mail beyond 102 kB


class Elements(HTMLParser):
    """Collects elements and their attributes."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


HOSTILE = '<script>alert(1)</script> & "Co"\r\nBcc: all@example.org'


@pytest.mark.parametrize("kind", ["digest", "urgent", "trial"])
def test_html_is_what_mail_clients_render_and_hostile_names_stay_text(kind):
    one = site(HOSTILE, frost(summary=HOSTILE))
    assert one.report is not None
    mail = {
        "digest": lambda: mail_of(one),
        "urgent": lambda: urgent_mail(
            one.report.findings[0], report=one.report, slug="a", base_url=BASE, texts={}
        ),
        "trial": lambda: trial_mail(base_url=BASE),
    }[kind]()
    elements = Elements(mail.html).found
    tags = {tag for tag, _ in elements}
    assert not tags & {"script", "style", "link", "iframe", "form", "object", "video"}
    assert all(a["src"].startswith("cid:") and a["alt"] for _, a in elements if "src" in a)
    assert not [a for _, a in elements if any(name[:2] == "on" for name in a)]
    assert "url(" not in mail.html
    hrefs = [attrs["href"] for tag, attrs in elements if tag == "a"]
    assert hrefs
    assert all(href.startswith(BASE) for href in hrefs)
    assert "\n" not in mail.subject
    assert "\r" not in mail.subject
    # Every address in the HTML stands in the text as well.
    assert {href for href in hrefs if "/findings/" in href} <= set(
        re.findall(r"https://\S+", mail.text)
    )


def test_the_urgent_mail_has_all_cautions_before_all_checks():
    report = a_report(findings=(frost(),))
    finding = report.findings[0]
    mail = urgent_mail(finding, report=report, slug="a", base_url=BASE, texts={})
    assert mail.subject == "Act today: Mill Lane 4 – Frost risk"
    flat = " ".join(mail.text.split())
    places = [flat.index(" ".join(text.split()[:6])) for text in finding.cautions]
    checks = [flat.index(" ".join(text.split()[:6])) for text in finding.check_next]
    assert max(places) < min(checks)
    assert len(checks) == 4
    assert "17 September 2025, 01:00" in flat  # the site's own clock


def test_text_lines_are_short_enough_to_be_quoted():
    text = mail_of(site("A", tubes(), frost()), site("B", report=None)).text
    assert max(len(line) for line in text.splitlines() if "://" not in line) <= 72
