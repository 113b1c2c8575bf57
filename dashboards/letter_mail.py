"""The yearly letter: what a customer's plant saved them, in their language, with the sheet.

To add a language, add a `Letter` beside its `Sentences` of the sheet.
"""

from dataclasses import dataclass

from dashboards.mails import Mail, MailPart, render_mail
from dashboards.sheet.view import SheetView


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """The letter's own words in one language; braces name what is filled in."""

    subject: str
    greeting: str
    greeting_unnamed: str
    attached: str
    closing: str
    stop: str
    stop_link: str
    stop_ask: str
    stop_says: str
    stop_button: str
    stopped: str
    stopped_says: str


LETTERS: dict[str, Letter] = {
    "en": Letter(
        subject="What your solar heating saved in {year}",
        greeting="Dear {name},",
        greeting_unnamed="Good day,",
        attached="The attached sheet has the months, how sure each figure is, and how it was made.",
        closing="With kind regards",
        stop="You get this once a year because you agreed to it.",
        stop_link="Send me no more",
        stop_ask="No more letters about what your solar heating saved?",
        stop_says="One goes to {address} each year. Nothing was changed yet.",
        stop_button="Send no more",
        stopped="Stopped",
        stopped_says="No more yearly letters go to {address}; your consent to them is taken back. "
        "Was it a mistake? Tell {firm}.",
    ),
    "de": Letter(
        subject="Was Ihre Solarheizung {year} gespart hat",
        greeting="Guten Tag, {name},",
        greeting_unnamed="Guten Tag,",
        attached="Auf dem Blatt im Anhang stehen die Monate, wie sicher jede Zahl ist und wie sie "
        "zustande kam.",
        closing="Mit freundlichen Grüßen",
        stop="Sie bekommen diese Nachricht einmal im Jahr, weil Sie zugestimmt haben.",
        stop_link="Keine mehr schicken",
        stop_ask="Keine Nachricht mehr darüber, was Ihre Solarheizung spart?",
        stop_says="Sie geht einmal im Jahr an {address}. Noch ist nichts geändert.",
        stop_button="Keine mehr schicken",
        stopped="Abbestellt",
        stopped_says="An {address} geht keine Jahresnachricht mehr; Ihre Zustimmung dazu ist "
        "zurückgenommen. War es ein Versehen? Sagen Sie {firm} Bescheid.",
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LetterRow:
    """One kind of saving in the year."""

    label: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LetterMail:
    """What the templates show."""

    subject: str
    language: str
    site: str
    greeting: str
    headline: str
    rows: tuple[LetterRow, ...]
    sentences: tuple[str, ...]
    attached: str
    closing: str
    firm: str
    stop: str
    stop_link: str
    stop_href: str


def letter_mail(view: SheetView, *, name: str, firm: str, stop_url: str) -> Mail:
    """Write the letter about the sheet's year, the sheet attached.

    Parameters
    ----------
    view : the sheet of a year of which something is known
    name : of the customer; empty where it is not on record
    firm : who writes
    stop_url : where its reader takes the consent back
    """
    from dashboards.sheet.pdf import sheet_pdf  # its library of fonts is slow to import

    says = LETTERS[view.language]
    page = LetterMail(
        subject=says.subject.format(year=view.year),
        language=view.language,
        site=view.site,
        greeting=says.greeting.format(name=name) if name else says.greeting_unnamed,
        headline=view.headline,
        # What is not known stands on the sheet with the reason.
        rows=tuple(
            LetterRow(label=row.label, value=row.year.value)
            for row in view.rows
            if row.year.value != view.says.unknown
        ),
        sentences=view.sentences,
        attached=says.attached,
        closing=says.closing,
        firm=firm,
        stop=says.stop,
        stop_link=says.stop_link,
        stop_href=stop_url,
    )
    sheet = MailPart(
        name=f"solar-{view.year}.pdf", media_type="application/pdf", content=sheet_pdf(view)
    )
    return render_mail("letter", page, parts=(sheet,), stop_url=stop_url)
