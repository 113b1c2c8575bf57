"""What each figure shows, how it is worked out, and how sure it is: one table for all pages.

Written for people who stand before the figure; what is computed stands in the modules of
`analysis`, and `What these figures rest on` of a site says which of the ways was taken there.
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """The help of one figure.

    Attributes
    ----------
    shows : one sentence
    worked : from what and how
    sure : how far it can be trusted
    words : glossary entries that it uses, by slug
    """

    shows: str
    worked: str
    sure: str
    words: tuple[str, ...] = ()


_BOUNDS = (
    "The true value lies within the bounds 95 times in 100, if the sensors are what the site facts "
    "say."
)
_READ_ONLY = "It repeats what the log holds; nothing is worked out or smoothed."

EXPLAINED: Mapping[str, Explanation] = {
    "fleet": Explanation(
        shows="All installations, those first that need somebody most.",
        worked="Each is sorted by its most urgent open finding, then by the heat that its open "
        "findings have cost so far. The strip is its last year, one stroke a week: heat delivered, "
        "over what a healthy collector would have given.",
        sure="Costs have bounds, which stand beside them. What was set aside, and findings about "
        "who is at home, are not in this list.",
        words=("finding", "urgency", "lost", "expected"),
    ),
    "heat": Explanation(
        shows="Heat that came down into the store over the whole log, beside what a healthy "
        "collector would have given and what was promised.",
        worked="Delivered: flow times the difference of the two pipes, or a heat meter, or, where "
        "neither is logged, what the collector could have given while the loop ran. Expected: the "
        "certificate's numbers in the sun and at the temperatures that occurred. The bar shows all "
        "three on one scale; the thin line on it is the likely span.",
        sure=f"{_BOUNDS} Time that was not logged is in none of them.",
        words=("delivered", "expected", "design", "likely", "coverage"),
    ),
    "strip": Explanation(
        shows="One stroke for each day of a year: how much heat came, out of how much could have.",
        worked="The full stroke is the heat that a healthy collector would have given that day, "
        "the filled part what was delivered. The missing part is coloured where a finding covers "
        "the day; brackets name the finding.",
        sure="A day's figures are less sure than a month's. Hatched days were not measured; they "
        "count neither as zero nor as heat.",
        words=("delivered", "expected", "gap", "finding"),
    ),
    "findings": Explanation(
        shows="What is wrong, what was wrong, and what could not be looked at.",
        worked="Each kind of fault has its own test of the log, with limits that hold for sound "
        "plants. A cause goes before what it brings about, which then stands with it as explained.",
        sure="Each finding tells its certainty on its page. “Could not be judged” means that "
        "the log lacks something, not that all is well.",
        words=("finding", "urgency", "explained", "certainty", "not-judged", "lost"),
    ),
    "periods": Explanation(
        shows="Heat by day, week, month or year; findings as lines beneath, on the same time.",
        worked="Days are local days and are added up. The line is what a healthy collector would "
        "have given, the dotted one the promise.",
        sure="The whisker on a bar is its likely span. Errors that stay the same all year are "
        "added, never averaged away.",
        words=("delivered", "expected", "design", "likely"),
    ),
    "day": Explanation(
        shows="What the sensors said over one day, in the site's own time.",
        worked=f"{_READ_ONLY} Where a day has more rows than the picture has room for, the lowest "
        "and the highest of each moment are drawn, so that no peak is lost.",
        sure="As good as the sensors. A hole in a line is a hole in the log.",
        words=("hot-cold-pipe", "irradiance", "flow", "gap"),
    ),
    "missing": Explanation(
        shows="Where the heat went that a healthy collector would have given and that did not "
        "come.",
        worked="Each day's missing heat is shared among the findings that cover the day, causes "
        "first, none more than the day lacks. What a warmer store would not have taken is no loss; "
        "what nothing explains stands as such.",
        sure="The first row is only as sure as delivered and expected heat together; small rest "
        "rows may be nothing but that.",
        words=("missing", "lost", "expected", "finding"),
    ),
    "worth": Explanation(
        shows="What the sun spared in fuel, money and CO₂, after the pump's electricity.",
        worked="Delivered heat less what store and pipes lost because of it, over the backup's "
        "efficiency, at the price of the day; all from [backup] in the site facts. The collector's "
        "state comes from hours of steady sun.",
        sure=f"{_BOUNDS} The backup's efficiency is the widest part. A forecast for the year also "
        "holds the usual spread of the weather.",
        words=("useful", "fuel", "efficiency", "eta0", "losses"),
    ),
    "promise": Explanation(
        shows="How the plant stands to what was promised for a typical year.",
        worked="Whole months that were measured well enough, against the same months of the "
        "promise: once as they are, once with the promise moved to the sun that really shone.",
        sure="A promise rests on an assumed climate and demand. Worked out here it is itself good "
        "to about 15 %, an engineering judgement.",
        words=("design", "delivered", "irradiation"),
    ),
    "field-check": Explanation(
        shows="Power measured against power estimated, one dot for each hour of good sun.",
        worked="Only hours with strong, straight sun and steady temperatures count. Dots on the "
        "line are as estimated; the estimate is lowered first for pipes and sensors.",
        sure="Single hours scatter; the ratio of all is what counts. It is no certificate.",
        words=("field-check", "irradiance", "eta0"),
    ),
    "hand": Explanation(
        shows="Heat by a meter that somebody read, beside the log of the same time.",
        worked="The later reading less the earlier one. The two are never added up.",
        sure="As good as the meter and the eyes; the bounds are those of its class.",
        words=("register", "delivered", "likely"),
    ),
    "basis": Explanation(
        shows="Which sensors, weather and promise the figures above rest on.",
        worked="Suntally takes the surest way that the log allows, and says here which it was.",
        sure="Better sensors make bounds narrower: a flow meter and a sun sensor in the plane of "
        "the collectors help most.",
        words=("likely", "plane", "set-aside", "clear-day"),
    ),
    "course": Explanation(
        shows="How the sign of this finding moved from day to day.",
        worked="One value a day where the log allows one, with the limit of the test as a line.",
        sure="Single days scatter; the finding rests on many, and on those that speak against it.",
        words=("finding", "certainty"),
    ),
    "decisive": Explanation(
        shows="The hours and sensors that show this finding most plainly.",
        worked=f"{_READ_ONLY} The marked span and levels are those that the test looked at.",
        sure="It is one example; the numbers above count all days.",
        words=("finding", "hot-cold-pipe", "stranded", "stagnation"),
    ),
    "cost": Explanation(
        shows="What this finding has cost so far, and how sure it is.",
        worked="Heat lost is what the same plant without the fault would have brought on top, in "
        "the same weather with the same draws. Money is that heat at this site's price of fuel.",
        sure=f"{_BOUNDS} Where the log cannot tell the loss, it says why instead of naming zero.",
        words=("lost", "certainty", "likely"),
    ),
    "visits": Explanation(
        shows="Which sites want somebody, in the order in which to go.",
        worked="The most urgent first, then what loses most money a week at the site's own price; "
        "without a price, what loses most heat. Distances are as the crow flies.",
        sure="What it loses a week has the bounds of the finding; roads are longer than distances "
        "here.",
        words=("urgency", "lost", "finding"),
    ),
    "preview": Explanation(
        shows="What the file was taken for, before anything of it counts.",
        worked="Heads and units are read first; then the curves are held against what roofs, "
        "stores and the sun do.",
        sure="“Certain” needs a clear head or a curve that only one sensor has. The rest is asked, "
        "and nothing is stored before the answer.",
        words=("log-map", "set-aside", "hot-cold-pipe"),
    ),
    "uploads": Explanation(
        shows="Every file that was handed in, what became of it, and which rows were set aside.",
        worked="A file is kept as it came. Rows that cannot be right are set aside with their "
        "reason; a later file takes the place of the span it covers, and can be undone.",
        sure="“Stored” means that it is safe; nothing of a refused file counts.",
        words=("set-aside", "log-map", "coverage"),
    ),
    "warranty": Explanation(
        shows="What the papers ask for, and whether log and visits show that it was kept.",
        worked="Each term is judged from this record and the log alone. The table of heat counts "
        "hours in which the collector's own sensor was above each level.",
        sure="“Not known” is an answer: what was not logged or noted is not held against anybody. "
        "Whether a claim holds is for the papers and whoever gave them.",
        words=("warranty-record", "stagnation", "cold-pressure", "bundle"),
    ),
    "digest": Explanation(
        shows="The week's mail: what changed since the reader's last one, then what still stands.",
        worked="From the same reports as the pages, without what was set aside. Weeks run from "
        "Monday in the reader's own time zone.",
        sure="It says what is known when it is sent; logs that come later change the pages, and "
        "the next mail.",
        words=("finding", "urgency", "lost"),
    ),
    "weather": Explanation(
        shows="Hourly weather of the same days, for where no sensor measures the sun.",
        worked="Sun on the level is turned into the plane of the collectors. It stands in only on "
        "days on which the site's own sensor says too little.",
        sure="Weather from elsewhere makes the healthy figure less sure, and its bounds wider.",
        words=("irradiance", "plane", "expected"),
    ),
}  # fmt: skip
