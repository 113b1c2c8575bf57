"""By which steps a temperature sensor is logged: the smallest change that it showed."""

import numpy as np

from analysis.case import Case
from analysis.channels import channel
from analysis.days import DayTable
from analysis.quantiles import median_of
from analysis.record import Floats


def grain_columns(case: Case) -> dict[str, Floats]:
    """Give the smallest change of each temperature on each day; shape (days,), NaN of none [K]."""
    grains = {}
    change = np.zeros(len(case.record))
    # Sizes are in the order of their bits, read as whole numbers: less one, nothing is the greatest
    # of all, beyond what is not known.
    bits = change.view(np.uint64)
    begins, some = case.row_edge[:-1], np.diff(case.row_edge) > 0
    for name, values in case.record.columns.items():
        if _is_temperature(name):
            np.subtract(values[1:], values[:-1], out=change[1:])
            np.abs(change, out=change)
            change[begins[some]] = 0.0  # midnight is no step
            bits -= np.uint64(1)
            least = np.full(len(some), np.nan)
            found = (
                np.minimum.reduceat(bits[: case.row_edge[-1]], begins[some])
                if some.any()
                else bits[:0]
            )
            found += np.uint64(1)
            least[some] = np.where(found == 0, np.nan, found.view(np.float64))
            grains[f"grain_{name}"] = least
    return grains


def grain_k(table: DayTable, name: str) -> float:
    """Give the step of a channel's readings, of the others' where it never changed [K]."""
    own = table.column(f"grain_{name}")
    if not np.isfinite(own).any():
        others = [values for key, values in table.columns.items() if key.startswith("grain_")]
        own = np.concatenate(others) if others else own
    known = own[np.isfinite(own)]
    return median_of(known) if known.size else 0.0


def _is_temperature(name: str) -> bool:
    known = channel(name)
    return known is not None and known.quantity == "temperature"
