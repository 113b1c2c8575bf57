"""What is set about old data, and what is due, in plain words."""

from collections.abc import Mapping

from dashboards.format import day, number, plural
from service.retention.actions import Plan
from service.retention.queries import Rolled
from service.settings import Settings

_MIB = 1024 * 1024


def set_words(settings: Settings) -> tuple[str, ...]:
    """Say what becomes of old data, a sentence for each thing."""
    full, samples = settings.keep_full_years, settings.keep_samples_years
    files = settings.keep_files_years
    return (
        "Rows are kept as they came for ever."
        if full is None
        else f"Rows are kept as they came for {plural(full, 'year')}, then as five-minute means "
        "with each hour's lowest and highest values.",
        "No row is removed for its age."
        if samples is None
        else f"Rows are removed after {plural(samples, 'year')}.",
        "Log files are kept as handed in for ever."
        if files is None
        else f"Log files are removed {plural(files, 'year')} after they were handed in; name, hash "
        "and count of rows stay.",
    )


def done_words(counts: Mapping[str, int]) -> str | None:
    """Say how many days are rolled up and removed by now; None where none are."""
    if not counts:
        return None
    means, gone = counts.get("means", 0), counts.get("gone", 0)
    return f"So far rolled up: {plural(means, 'day')} of rows; removed: {number(gone)}."


def plan_words(plan: Plan) -> tuple[str, ...]:
    """Say what is due, a line for each thing."""
    return (
        f"to be rolled up: {plural(plan.means.count, 'day')} of {number(plan.means.rows)} rows, "
        f"{_mib(plan.means.size_bytes)}",
        f"to be removed: {plural(plan.gone.count, 'day')} of {number(plan.gone.rows)} rows, "
        f"{_mib(plan.gone.size_bytes)}",
        f"log files to be removed: {number(plan.files.count)}, {_mib(plan.files.size_bytes)}",
        f"together that frees about {_mib(plan.frees)}",
    )


def rolled_words(rolled: Rolled) -> str | None:
    """Say from when on a site's rows are there as they came; None where all are."""
    said = []
    if rolled.gone_until is not None:
        said.append(f"The rows of days until {day(rolled.gone_until)} were removed for their age")
    if rolled.means_until is not None:
        said.append(
            f"{'those' if said else 'The rows of days'} until {day(rolled.means_until)} are kept "
            "as five-minute means with each hour's lowest and highest values"
        )
    if not said:
        return None
    return (
        f"{'; '.join(said)} (UTC). What these days showed stands as it was found then; "
        "a new method or changed facts leave it as it is."
    )


def _mib(size_bytes: int) -> str:
    return f"{size_bytes / _MIB:,.1f} MiB"
