"""What a waiting file said of itself, so that a map made on another file cannot overrule it unseen.

The proposals that a file waited with are kept beside it until somebody accepts a map on its own
page, or on that of a file that said the same.
"""

from collections.abc import Mapping
from typing import Any

from analysis.channels import channel
from analysis.logs.conversions import unit_named
from analysis.logs.shapes import ParsedLog
from service.db.models import Upload

Own = dict[str, dict[str, str | None]]


def with_own(files: list[dict[str, Any]], parsed: ParsedLog) -> list[dict[str, Any]]:
    """Give the accounts with what was surely worked out of the columns, by their keys."""
    own: Own = {
        column.key: {"channel": column.meaning.channel, "unit": column.meaning.unit}
        for one in parsed.files
        for column in (one.understood.columns if one.understood is not None else ())
        if column.source == "proposal" and column.meaning is not None
    }
    return [{**files[0], "proposed": own}, *files[1:]] if files else files


def own_meanings(upload: Upload) -> Own:
    """Give what a file that waited said of its columns; nothing where it was seen since."""
    files = upload.files or []
    return dict(files[0].get("proposed", {})) if files else {}


def seen(upload: Upload, own: Own) -> None:
    """Note that somebody saw these meanings and put a map over them."""
    left = {key: said for key, said in own_meanings(upload).items() if own.get(key) != said}
    if upload.files:
        first = {**upload.files[0], "proposed": left}
        first.pop("contradicts", None)
        upload.files = [first, *upload.files[1:]]


def contradiction(own: Mapping[str, Mapping[str, str | None]], parsed: ParsedLog) -> str | None:
    """Say where the map takes a column for something else than its file surely showed."""
    for one in parsed.files:
        for column in one.understood.columns if one.understood is not None else ():
            said, told = own.get(column.key), column.meaning
            if said is None or told is None or column.source != "map":
                continue
            shown = channel(str(said["channel"]))
            if shown is None or (
                told.channel == shown.name
                and unit_named(quantity=shown.quantity, unit=told.unit)
                == unit_named(quantity=shown.quantity, unit=said["unit"])
            ):
                continue
            return (
                f"the map takes “{column.key}” for {_words(told.channel, told.unit)}, but this "
                f"file's own values look like {_words(shown.name, said['unit'])}; look, and "
                "accept it here"
            )
    return None


def _words(name: str, unit: str | None) -> str:
    known = channel(name)
    says, usual = (known.says, known.unit) if known is not None else (name, "")
    return f"{says} in {unit or usual}" if unit or usual else says
