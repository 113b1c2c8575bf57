"""Reports as objects, built from their stored JSON once and shared by all requests.

A report is frozen, so that threads can share it, and its mark is new with each writing, so that
what is kept here is never out of date.
"""

from collections import OrderedDict
from collections.abc import Mapping
from threading import Lock
from typing import Any

from analysis.results import Report, report_from_json

# Measured on ten years: 0.5 kB for each day, so that this is about 50 MB.
_MOST_DAYS = 100_000
# What a report takes besides its days, in days.
_BESIDES_DAYS = 50


class BuiltReports:
    """The reports that were asked for last, up to a number of days in all."""

    def __init__(self, *, most_days: int = _MOST_DAYS) -> None:
        self._most = most_days
        self._held: OrderedDict[str, Report] = OrderedDict()
        self._days = 0
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._held)

    def get(self, key: str) -> Report | None:
        """Give a report that is held."""
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
            return self._held.get(key)

    def keep(self, key: str, stored: Mapping[str, Any]) -> Report:
        """Build a report and hold it, in place of those that nobody asked for the longest."""
        report = report_from_json(stored)
        with self._lock:
            if key not in self._held:
                self._held[key] = report
                self._days += _weight(report)
            while self._days > self._most and len(self._held) > 1:
                self._days -= _weight(self._held.popitem(last=False)[1])
        return report


def _weight(report: Report) -> int:
    checked = report.field_check.hours if report.field_check is not None else 0
    return len(report.days) + checked + _BESIDES_DAYS


BUILT = BuiltReports()
