"""How the logs were understood, as plain text: nothing counts before it was shown."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence

from analysis.channels import channel, channel_of_tidy
from analysis.logs.asking import Question
from analysis.logs.shapes import ColumnRead, FileRead
from dashboards import format as fmt

_WIDTH = 78
_ASKED = 6


def logs_text(
    files: Sequence[FileRead],
    *,
    unseen: Sequence[str],
    impossible: Mapping[str, int],
    questions: Sequence[Question] = (),
) -> str:
    """Write how the logs were read; files that are alike in all but the name share an entry.

    Parameters
    ----------
    files : how each file was understood
    unseen : heads that a map names and no log has
    impossible : channel to number of values that cannot be real
    questions : what the files leave open; what depends on it was not used
    """
    alike: dict[tuple[str, tuple[ColumnRead, ...], tuple[str, ...]], list[str]] = {}
    for one in files:
        alike.setdefault((one.dialect, one.columns, one.ignored), []).append(one.name)
    lines = ["LOGS, as they were read"]
    for (dialect, columns, ignored), names in alike.items():
        named = printable(names[0])
        if len(names) > 1:
            named += f" and {fmt.plural(len(names) - 1, 'more file')} like it"
        lines.append(_wrapped(f"{named}: {dialect}", 2))
        lines.append(_wrapped(f"columns: {'; '.join(_column(one) for one in columns)}", 4))
        if ignored:
            lines.append(_wrapped(f"not known and left out: {printable('; '.join(ignored))}", 4))
    lines.extend(_wrapped(text, 2) for text in _remarks(unseen, impossible))
    lines.extend(_wrapped(text, 2) for text in _far_values(files))
    lines.extend(_wrapped(text, 2) for text in _asked(questions))
    return "\n".join(lines)


def printable(text: str) -> str:
    """Give a text from a file with question marks for signs that would steer a terminal."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def _column(column: ColumnRead) -> str:
    tidy = channel_of_tidy(column.head)
    if tidy is not None and tidy.name == column.channel:
        return column.head
    return f"{printable(column.head)} = {column.channel} in {column.unit}"


def _remarks(unseen: Sequence[str], impossible: Mapping[str, int]) -> Iterator[str]:
    if unseen:
        yield f"[log.columns] names what no log has: {printable('; '.join(unseen))}"
    for name, count in impossible.items():
        known = channel(name)
        if known is not None:
            yield (
                f"{known.says}: {fmt.plural(count, 'value')} outside {known.lowest:g} to "
                f"{known.highest:g} {known.unit} cannot be real and were left out"
            )


def _far_values(files: Sequence[FileRead]) -> Iterator[str]:
    """Say which values were taken for those of a broken sensor, each column once."""
    counts: dict[tuple[str, tuple[float, ...]], int] = {}
    for one in files:
        for column in one.understood.columns if one.understood is not None else ():
            if column.sentinels:
                key = (column.head or f"column {column.place + 1}", column.sentinels)
                counts[key] = counts.get(key, 0) + column.masked
    for (head, values), count in counts.items():
        shown = " and ".join(f"{value:g}" for value in values)
        yield (
            f"{printable(head)}: {shown} stands far from all else and comes again and again "
            f"({fmt.plural(count, 'time')}): taken for a broken sensor and left out"
        )


def _asked(questions: Sequence[Question]) -> Iterator[str]:
    """Say what is open, and how to answer."""
    for question in questions[:_ASKED]:
        subject = f"{printable(question.subject)}: " if question.subject else ""
        yield f"asked, and not used: {subject}{printable(question.why)}"
    if questions:
        more = len(questions) - _ASKED
        rest = f"and {more} more; " if more > 0 else ""
        yield f"{rest}suntally read shows the answers to choose from, and writes a map"


def _wrapped(text: str, indent: int) -> str:
    return textwrap.fill(
        text, _WIDTH, initial_indent=" " * indent, subsequent_indent=" " * (indent + 2),
        break_on_hyphens=False,
    )  # fmt: skip
