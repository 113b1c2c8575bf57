"""The files of `suntally report`: what is read from them, and outputs that appear whole or not."""

import argparse
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path

STDOUT = "-"


class CannotReportError(Exception):
    """No report can be made; the text says why and what to do."""


def bytes_of(name: str) -> bytes:
    """Read a file that the command line names."""
    if not name:
        raise CannotReportError("a file name is empty; name the file")
    path = Path(name)
    try:
        if not path.is_dir():
            return path.read_bytes()
    except FileNotFoundError:
        raise CannotReportError(f"{name}: there is no such file; check the name") from None
    except OSError as error:
        raise CannotReportError(
            f"{name} cannot be read: {_reason(error)}; check the file and its rights"
        ) from None
    raise CannotReportError(f"{name} is a folder; name the files in it, such as {path}/*.csv")


def text_of(name: str, what: str) -> str:
    """Read a file as text; `what` it is stands in the message where it is none."""
    try:
        return bytes_of(name).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise CannotReportError(
            f"{name}, line {line}: this {what} is not UTF-8 text; save it as UTF-8"
        ) from None


def short_names(names: Sequence[str]) -> list[str]:
    """Give each file's name without its folders, or with them where two would be alike."""
    different = dict.fromkeys(names)
    short = [Path(name).name for name in different]
    return [
        Path(name).name if short.count(Path(name).name) == 1 else name for name in names
    ]  # fmt: skip


def check_outputs(args: argparse.Namespace) -> None:
    """Refuse to write over what is read, over the other output, or where nothing can stand."""
    inputs = (args.site, *args.logs, args.map, args.weather)
    taken = {Path(name).resolve() for name in inputs if name}
    for option, name in (("--json", args.json), ("--html", args.html)):
        if name is None or (name == STDOUT and option == "--json"):
            continue
        if name in ("", STDOUT):
            raise CannotReportError(
                f"{option} needs a file name; only --json can go to standard output, as --json -"
            )
        path = Path(name).resolve()
        if path in taken:
            raise CannotReportError(f"{option} {name} is in use already; choose another name")
        try:
            folder, parent = path.is_dir(), path.parent.is_dir()
        except OSError as error:
            raise CannotReportError(
                f"{option} {name} cannot be written: {_reason(error)}; choose another name"
            ) from None
        if folder:
            raise CannotReportError(f"{option} {name} is a folder; add a file name to it")
        if not parent:
            raise CannotReportError(f"{option} {name}: there is no such folder; make it first")
        taken.add(path)


def say(text: str) -> None:
    """Write to standard output; a reader that has seen enough is a BrokenPipeError."""
    if sys.stdout is None:
        raise CannotReportError("standard output is closed; name a file with --json or --html")
    # A terminal of a narrow encoding shows a question mark rather than an error.
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        # What is still buffered would be tried again at the end of the process.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise CannotReportError(
            f"standard output cannot be written: {_reason(error)}; send it elsewhere"
        ) from None


def write_all(outputs: dict[str, str]) -> None:
    """Write files, each whole and all or none of them.

    Parameters
    ----------
    outputs : file name to text

    Raises
    ------
    CannotReportError
        One of them cannot be written; then none has changed.
    """
    staged: list[tuple[Path, Path]] = []
    current = ""
    try:
        for current, text in outputs.items():
            path = Path(current).resolve()  # what a link points to changes, not the link
            if path.exists() and not path.is_file():
                continue
            beside = path.with_name(f".suntally-{os.getpid()}-{len(staged)}")
            staged.append((beside, path))
            beside.write_text(text, encoding="utf-8")
            if path.exists():
                beside.chmod(path.stat().st_mode & 0o777)
        for current, text in outputs.items():
            path = Path(current).resolve()
            if path.exists() and not path.is_file():
                path.write_text(text, encoding="utf-8")  # a pipe or device takes it as it comes
        for beside, path in staged:
            beside.replace(path)
    except OSError as error:
        raise CannotReportError(
            f"{current} cannot be written: {_reason(error)}; choose another place"
        ) from None
    finally:
        for beside, _ in staged:
            beside.unlink(missing_ok=True)


def _reason(error: OSError) -> str:
    return (error.strerror or "it failed").lower()
