"""The kinds of terms that warranty papers hold, as data; the wording is ours.

What kinds there are is common practice, no source: papers for evacuated tubes ask for tests of the
fluid, for visits on record, for pressure within limits, and for tubes that do not stand dry or hot.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TermKind:
    """One kind of term.

    Attributes
    ----------
    needs : the keys without which it says nothing
    one_of : keys of which at least one must be given
    says : the term in a sentence, with the keys' values in braces
    """

    needs: tuple[str, ...] = ()
    one_of: tuple[str, ...] = ()
    says: str = ""


TERM_KINDS: dict[str, TermKind] = {
    "fluid_test": TermKind(
        needs=("years",), says="The fluid is tested or renewed at least every {years}"
    ),
    "visit": TermKind(
        needs=("years",), says="Somebody looks after the plant at least every {years}"
    ),
    "tubes_within": TermKind(
        needs=("within_days", "after"), says="The tubes go in within {within_days} of {after}"
    ),
    "hours_above": TermKind(
        needs=("limit_c", "most_hours"),
        says="The collector is above {limit_c} for at most {most_hours} a year",
    ),
    "never_above": TermKind(
        needs=("limit_c",), says="The collector never gets hotter than {limit_c}"
    ),
    "stagnation_days": TermKind(
        needs=("most_days",), says="The collector stands hot on at most {most_days} a year"
    ),
    "pressure": TermKind(one_of=("low_bar", "high_bar"), says="The loop's pressure is {bar}"),
    "concentration": TermKind(
        one_of=("low_concentration", "high_concentration"),
        says="The strength of the antifreeze is {concentration}",
    ),
    "other": TermKind(needs=("text",), says="{text}"),
}
