"""The files of the commands: what is read from them, and outputs that appear whole or not."""

import gc
import io
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from service.progress import Progress

if TYPE_CHECKING:
    from analysis.logs.shapes import LogSource
    from analysis.site import LogMap, Site

STDOUT = "-"


DONE = 0
NOT_DONE = 2

_UNPACKED_LIMIT_BYTES = 2 * 1024**3


class CannotReportError(Exception):
    """Nothing can be made of what was given; the text says why and what to do."""


def in_plain_words(command: str, work: Callable[[Progress], int]) -> int:
    """Do the work of a command; whatever goes wrong is one message and status 2.

    It is soon done: what it imports and makes is not searched for garbage meanwhile.

    Parameters
    ----------
    command : its name, which begins the message
    work : takes the line of progress and gives the exit status
    """
    from analysis.errors import AnalysisError

    progress = Progress(sys.stderr)
    gc.disable()
    try:
        return work(progress)
    except (CannotReportError, AnalysisError) as error:
        problem = str(error)
    except BrokenPipeError:
        # The reader has seen enough (`| head`); what is still buffered has nowhere to go.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except MemoryError:
        problem = "the logs do not fit into memory; give fewer at a time, for instance one year"
    except Exception as error:  # noqa: BLE001 - a user never sees a traceback
        problem = (
            f"this should not happen: {type(error).__name__}: {' '.join(str(error).split())}. "
            "It is a defect of Suntally; please report it with the site file and the log"
        )
    finally:
        gc.enable()
        progress.clear()
    print(f"suntally {command}: {problem}", file=sys.stderr)
    return NOT_DONE


def site_of(name: str) -> "Site":
    """Read a site file that the command line names."""
    from analysis.errors import SiteFileError
    from analysis.sitefile import parse_site

    try:
        return parse_site(text_of(name, "site file"))
    except SiteFileError as error:
        raise CannotReportError(f"{name}{', ' if error.line else ': '}{error}") from None


def map_of(name: str | None) -> "LogMap | None":
    """Read a map that the command line names, None where it names none."""
    from analysis.errors import SiteFileError
    from analysis.sitefile import parse_map

    if name is None:
        return None
    try:
        return parse_map(text_of(name, "map"))
    except SiteFileError as error:
        raise CannotReportError(f"{name}{', ' if error.line else ': '}{error}") from None


def sources_of(names: Sequence[str], progress: Progress) -> "list[LogSource]":
    """Read and unpack the logs that the command line names."""
    from analysis.logs.archives import unpack

    sources: list[LogSource] = []
    for number, (name, short) in enumerate(zip(names, short_names(names), strict=True)):
        progress.say(f"Reading {short}")
        unpacked = unpack(short, bytes_of(name), limit_bytes=_UNPACKED_LIMIT_BYTES)
        sources.extend(replace(one, bundle=number) for one in unpacked)
    return sources


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


def check_outputs(*, inputs: Sequence[str | None], outputs: Mapping[str, str | None]) -> None:
    """Refuse to write over what is read, over another output, or where nothing can stand.

    Parameters
    ----------
    inputs : names of files that are read
    outputs : option to the file it writes; only `--json` may be standard output
    """
    taken = {Path(name).resolve() for name in inputs if name}
    for option, name in outputs.items():
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
