"""What holds on every visit: the cautions before the first check; the checks of a routine one."""

from collections.abc import Iterable

from analysis.faults._cautions import (
    ELECTRICITY,
    HEIGHT,
    HOT_PARTS,
    LOCAL_CODES,
    SCALD,
    STEAM,
)

_ALWAYS = (HEIGHT, HOT_PARTS, STEAM, SCALD, ELECTRICITY)

# From the armchair to the roof. Common practice, no source.
CHECKS = (
    "From here: look at the last curves; does the pump run when the sun shines, and rest at night?",
    "Ask whether hot water was short, and whether there were noises, stains or drops.",
    "At the controller: do its temperatures look true, its clock and its settings?",
    "At the loop, cold: read the gauge, then the flow while the pump runs.",
    "Take a sample of the fluid in the cold, resting loop: colour, pH, freezing point.",
    "At a tap: does the mixing valve hold its temperature?",
    "From the ground, with binoculars: tubes, manifold, insulation, shade of trees.",
)


def cautions(of_findings: Iterable[str]) -> tuple[str, ...]:
    """Give the usual cautions and those of the findings, each once, local codes last."""
    every = dict.fromkeys((*_ALWAYS, *of_findings))
    every.pop(LOCAL_CODES, None)
    return (*every, LOCAL_CODES)
