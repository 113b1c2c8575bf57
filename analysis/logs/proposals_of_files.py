"""Which columns of which files are looked at together for a meaning: those of equal heads."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from analysis.logs.against_map import without_map
from analysis.logs.asking import SURE_FRAC, Proposal
from analysis.logs.planning import FilePlan, Told
from analysis.logs.proposing import (
    is_mapped,
    is_open,
    is_open_beyond_map,
    map_agrees,
    proposals_for,
)
from analysis.site import Site

Proposals = dict[tuple[object, ...], tuple[Proposal, ...]]


def alike(plan: FilePlan) -> tuple[object, ...]:
    """Give what files share that are looked at together: heads, units, places."""
    places = tuple(column.place for column in plan.layout.open)
    return (plan.dialect.heads, plan.dialect.headers.units, places, plan.layout.stamp.places)


def proposals_of_files(
    plans: Sequence[FilePlan], told: Told, site: Site | None, *, beyond_map: bool
) -> Proposals:
    """Propose meanings for the wide files that nobody explains, those of equal heads together.

    Of those that a map explains in part, what is sure of the other columns.
    """
    wide = [plan for plan in plans if plan.long is None]
    found = {
        key: proposals_for(group, told=told, site=site)
        for key, group in _groups(plan for plan in wide if is_open(plan, told)).items()
    }
    if beyond_map:
        partly = (plan for plan in wide if is_open_beyond_map(plan))
        for key, group in _groups(partly).items():
            found[key] = sure(proposals_for(group, told=told, site=site))
    return found


def own_proposals_of_files(plans: Sequence[FilePlan], told: Told, site: Site | None) -> Proposals:
    """Propose meanings for the columns that a map explains, as if it had not.

    Not where the heads say the same: their values could say nothing else for sure.
    """
    found = {}
    for key, group in _groups(p for p in plans if p.long is None and is_mapped(p)).items():
        bare = [without_map(plan) for plan in group]
        if not map_agrees(bare, told=told):
            found[key] = proposals_for(bare, told=told, site=site)
    return found


def _groups(plans: Iterable[FilePlan]) -> dict[tuple[object, ...], list[FilePlan]]:
    groups: dict[tuple[object, ...], list[FilePlan]] = {}
    for plan in plans:
        groups.setdefault(alike(plan), []).append(plan)
    return groups


def sure(proposals: Iterable[Proposal]) -> tuple[Proposal, ...]:
    """Give what is sure, without a question: what a map leaves out may well stay out."""
    return tuple(replace(one, questions=()) for one in proposals if one.certainty_frac >= SURE_FRAC)
