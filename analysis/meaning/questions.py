"""What is asked about a column, with the likeliest answers first."""

from collections.abc import Mapping

from analysis.channels import BASE_CHANNELS
from analysis.logs.asking import Choice, Question
from analysis.meaning.states import printed_unit

# A meaning less likely than this is not offered.
ASKED_FRAC = 0.02
MOST_CHOICES = 5


def column_question(shares: Mapping[str, float], subject: str, file: str, *, why: str) -> Question:
    """Ask what a column holds; "none of these" is always among the answers.

    Parameters
    ----------
    shares : channel ("" for none of them) to how likely it is
    subject : what names the column in a map
    file : name of the file
    why : why it is open
    """
    ranked = sorted(shares.items(), key=lambda one: -one[1])
    choices = [_choice(name, share) for name, share in ranked if share >= ASKED_FRAC]
    choices = choices[:MOST_CHOICES]
    if all(choice.value for choice in choices):
        choices.append(_choice("", shares.get("", 0.0)))
    return Question(kind="column", file=file, subject=subject, choices=tuple(choices), why=why)


def _choice(name: str, share: float) -> Choice:
    says = BASE_CHANNELS[name].says if name else "none of these"
    return Choice(value=name, says=says, certainty_frac=share)


def unit_question(
    name: str, units: Mapping[str | None, float], subject: str, file: str, *, against: str = ""
) -> Question:
    """Ask in which unit a column is whose channel is known.

    Parameters
    ----------
    name : the channel
    units : unit to how likely it is
    subject, file : as for `column_question`
    against : what speaks against the unit that its head prints, "" where it prints none
    """
    open_because = against or "its unit is not written and its size does not tell"
    ranked = sorted(units.items(), key=lambda one: -one[1])
    return Question(
        kind="unit",
        file=file,
        subject=subject,
        choices=tuple(
            Choice(
                value=printed_unit(name, unit), says=printed_unit(name, unit), certainty_frac=share
            )
            for unit, share in ranked
        ),
        why=f"this is {BASE_CHANNELS[name].says}, but {open_because}",
    )
