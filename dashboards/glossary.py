"""The words of the trade and of these pages, in plain words: a table, and nothing else to change.

Where a word is defined by a standard, the entry names it; those lines were written from memory of
the standard, not from its text. All other entries are common practice of the trade, no source.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One entry.

    Attributes
    ----------
    slug : its place on the page and in links
    term : the word as it is read
    says : at most two sentences
    unit : what it is counted in, empty where it has none
    source : the standard that defines it, empty where none does
    """

    slug: str
    term: str
    says: str
    unit: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Words that belong together."""

    slug: str
    title: str
    words: tuple[Word, ...]


_ISO_9806 = "ISO 9806, from memory"
_ISO_9488 = "ISO 9488, from memory"

PARTS: tuple[Part, ...] = (
    Part(
        slug="pages",
        title="Words of these pages",
        words=(
            Word(slug="delivered", term="Delivered heat", unit="kWh",
                 says="Heat that the loop carried into the store, less what it carried out again. "
                 "It is counted only over time that was logged."),
            Word(slug="expected", term="Healthy figure, expected heat", unit="kWh",
                 says="What a sound collector as described in the site facts would have given in "
                 "the same weather, against the temperatures that occurred. It needs the sun, from "
                 "a sensor or from weather of the same days."),
            Word(slug="design", term="Design yield, promise", unit="kWh",
                 says="What the plant should give in a typical year, by its papers or worked out "
                 "from the climate. It does not know this year's weather."),
            Word(slug="lost", term="Heat lost", unit="kWh",
                 says="What the same plant without the fault would have brought on top, in the "
                 "same weather with the same hot water drawn."),
            Word(slug="missing", term="Missing heat", unit="kWh",
                 says="Expected heat less delivered heat. Part of it is no loss, because a full "
                 "store would not have taken it."),
            Word(slug="likely", term="Likely between, bounds", unit="as the figure",
                 says="The true value lies between the two numbers 95 times in 100, if the sensors "
                 "are what the site facts say. Wider bounds mean a plainer log, not a worse "
                 "plant."),
            Word(slug="coverage", term="Measured, coverage", unit="%",
                 says="Share of the time with usable rows in the log. What was not measured is "
                 "neither zero nor heat."),
            Word(slug="gap", term="Gap, hole", unit="h",
                 says="Time without usable rows. It is drawn hatched or left out, never filled in, "
                 "and a fault never starts in one."),
            Word(slug="carried", term="Carried",
                 says="The loop carried heat at that moment: flow and pipes, or the store, show "
                 "it. A pause of up to half an hour belongs to it."),
            Word(slug="standing", term="Standing",
                 says="The loop stood still although a sound one would have run."),
            Word(slug="stranded", term="Stranded",
                 says="A collector so far above the store that no running loop reaches it. It "
                 "shows that nothing took the heat away."),
            Word(slug="finding", term="Finding",
                 says="Something that the log shows to be wrong, with when, how sure and what it "
                 "cost. It stays open until the log shows the opposite."),
            Word(slug="explained", term="Explained",
                 says="A finding that another one brings about or only makes look so. Put the "
                 "cause right first; it is kept, with the reason."),
            Word(slug="certainty", term="Certainty", unit="%",
                 says="How sure it is that the finding is what it is called. It says nothing about "
                 "how much heat it costs."),
            Word(slug="urgency", term="Act, visit, watch, record",
                 says="Act: somebody is needed today. Visit: plan one; watch: nothing to do yet; "
                 "record: sound plants show it too."),
            Word(slug="not-judged", term="Could not be judged",
                 says="The log lacks what it takes to say yes or no, and the reason stands beside "
                 "it. It is not the same as “nothing is wrong”."),
            Word(slug="set-aside", term="Set aside",
                 says="Of rows: not used because they cannot be right, each with its reason. Of "
                 "findings: hidden by somebody until a day, with a reason."),
            Word(slug="sunny-day", term="Sunny day", unit="kWh/m²",
                 says="A day with at least 3 kWh of sun on each square metre in the plane of the "
                 "collectors. The limit is this tool's own."),
            Word(slug="clear-day", term="Clear day",
                 says="A day whose curve has the plain shape of a cloudless sky. Where nothing "
                 "measures the sun, such days show how the plant's level moves."),
            Word(slug="log-map", term="Map of a log",
                 says="What each column of a controller's file holds and in which unit. Once "
                 "answered it holds for later files written the same way."),
        ),
    ),
    Part(
        slug="roof",
        title="Collector and sun",
        words=(
            Word(slug="tube", term="Evacuated tube",
                 says="A glass tube with the air pumped out, so that the absorber in it loses "
                 "little heat. A tube that lost its vacuum feels warm outside and often shows a "
                 "white patch where it had a silver one."),
            Word(slug="heat-pipe", term="Heat pipe",
                 says="A closed pipe in the tube with a little fluid that boils below and gives "
                 "its heat off at the top. The loop's fluid never enters the tube."),
            Word(slug="direct-flow", term="Direct-flow tube",
                 says="A tube through which the loop's own fluid runs."),
            Word(slug="array", term="Array",
                 says="Collectors of one kind that face one way. A roof may carry several."),
            Word(slug="area", term="Aperture, gross and absorber area", unit="m²",
                 says="Three ways to measure the same collector: the opening that lets light in, "
                 "the outer size, the dark part. The certificate's numbers hold for one of them "
                 "only.", source=_ISO_9488),
            Word(slug="tilt", term="Tilt", unit="°",
                 says="How steep the collector is: 0 lies flat, 90 hangs on a wall."),
            Word(slug="azimuth", term="Azimuth, facing", unit="°",
                 says="Where the collector looks, clockwise from north: 90 east, 180 south, 270 "
                 "west."),
            Word(slug="irradiance", term="Irradiance, sun", unit="W/m²",
                 says="The sun's power on a square metre at one moment: about 1000 at noon under a "
                 "clear sky.", source=_ISO_9488),
            Word(slug="irradiation", term="Irradiation", unit="kWh/m²",
                 says="The sun's energy on a square metre over a day or a year.",
                 source=_ISO_9488),
            Word(slug="plane", term="Plane of the collectors",
                 says="The slope that the collectors lie in. A sun sensor there measures what they "
                 "get; one that lies flat has to be worked over."),
            Word(slug="eta0", term="Peak efficiency η₀", unit="–",
                 says="Share of the sun that becomes heat when the collector is as warm as the "
                 "air.", source=_ISO_9806),
            Word(slug="losses", term="Heat loss a₁ and a₂", unit="W/(m²·K), W/(m²·K²)",
                 says="How much heat the collector loses for each degree it is warmer than the "
                 "air, and how that grows when it is hot.", source=_ISO_9806),
            Word(slug="iam", term="Incidence angle modifier", unit="–",
                 says="How much better or worse the collector takes slanting sun than straight "
                 "sun. Tubes have one along and one across.", source=_ISO_9806),
            Word(slug="capacity", term="Heat capacity", unit="kJ/(m²·K)",
                 says="Heat that the collector itself takes to get one degree warmer.",
                 source=_ISO_9806),
            Word(slug="stagnation", term="Stagnation", unit="°C",
                 says="Sun on the collectors and nothing takes the heat away, so that they get as "
                 "hot as they can. Normal with a full store in summer; with a cold store it is a "
                 "fault."),
        ),
    ),
    Part(
        slug="loop",
        title="Loop and store",
        words=(
            Word(slug="flow", term="Flow", unit="l/min",
                 says="How much fluid the pump moves."),
            Word(slug="hot-cold-pipe", term="Hot pipe, cold pipe", unit="°C",
                 says="The pipe that comes down from the roof and the one that goes up. In the sun "
                 "the first is the warmer one."),
            Word(slug="fluid", term="Solar fluid, glycol", unit="%",
                 says="Water with antifreeze and inhibitors; the share of antifreeze decides at "
                 "what cold it freezes. Heat ages it, so it is tested at each service."),
            Word(slug="drain-back", term="Drain-back",
                 says="A loop that empties itself into a vessel when the pump stops, so that "
                 "nothing freezes or boils on the roof."),
            Word(slug="vessel", term="Expansion vessel", unit="bar",
                 says="Takes up the fluid when it grows warm, against a cushion of gas. With its "
                 "gas lost the pressure swings widely and the safety valve drips."),
            Word(slug="pre-charge", term="Pre-charge", unit="bar",
                 says="Pressure of the vessel's gas with no fluid pressing on it, set before the "
                 "loop is filled. Reading it later is work for trained people, on a cold plant, as "
                 "the maker and local codes say."),
            Word(slug="cold-pressure", term="Cold pressure", unit="bar",
                 says="The loop's pressure when all is cold, in the morning. When it falls from "
                 "week to week, fluid is being lost."),
            Word(slug="safety-valve", term="Safety valve", unit="bar",
                 says="Opens before the pressure can do harm. It is never shut off, plugged or set "
                 "higher."),
            Word(slug="airlock", term="Airlock",
                 says="Air at a high point that stops the flow although the pump runs."),
            Word(slug="check-valve", term="Check valve",
                 says="Lets the loop run one way only. When it leaks, the warm store heats the "
                 "roof at night."),
            Word(slug="short-cycling", term="Short cycling",
                 says="The pump starts and stops many times an hour, mostly because the controller "
                 "is set too tight or the flow too high."),
            Word(slug="start-difference", term="Start difference", unit="K",
                 says="How much warmer than the store the collector has to be before the pump "
                 "starts."),
            Word(slug="store-limit", term="Store limit, charge limit", unit="°C",
                 says="Store temperature at which the controller stops charging."),
            Word(slug="exchanger", term="Coil, heat exchanger",
                 says="Hands the loop's heat to the store's water. Lime on it makes both pipes run "
                 "hotter for the same heat."),
            Word(slug="kelvin", term="Kelvin (K)", unit="K",
                 says="A difference of temperatures; one kelvin is one degree Celsius of "
                 "difference."),
            Word(slug="draw", term="Draw", unit="l/day",
                 says="Hot water that people take."),
            Word(slug="mixing-valve", term="Mixing valve",
                 says="Adds cold water so that nobody is scalded by a hot store. Testing and "
                 "setting it follows the local code."),
            Word(slug="backup", term="Backup",
                 says="What heats when the sun does not: boiler, heat pump, immersion heater."),
            Word(slug="register", term="Heat meter, register", unit="kWh",
                 says="A meter that adds up heat. Its display only ever rises."),
        ),
    ),
    Part(
        slug="worth",
        title="Money and papers",
        words=(
            Word(slug="useful", term="Useful heat", unit="kWh",
                 says="Delivered heat less what store and pipes lost because of it."),
            Word(slug="fuel", term="Fuel not burnt", unit="kWh",
                 says="What the backup would have used to give the same useful heat."),
            Word(slug="efficiency", term="Efficiency of the backup", unit="%",
                 says="Useful heat for each unit of fuel or electricity; for a heat pump it is "
                 "above 100 %."),
            Word(slug="field-check", term="Field check",
                 says="Measured against estimated power over hours of full sun. Done here after "
                 "the method as others describe it; it is no certificate.",
                 source="ISO 24194, from secondary text"),
            Word(slug="warranty-record", term="Warranty record",
                 says="How the plant went into service, what the papers ask for, and what log and "
                 "visits show about it."),
            Word(slug="bundle", term="Evidence bundle",
                 says="One signed file with logs, records and report. The signature shows that "
                 "nothing was altered since, not that a sensor was right."),
        ),
    ),
)  # fmt: skip

WORDS = {word.slug: word for part in PARTS for word in part.words}
