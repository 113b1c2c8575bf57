"""Work grows with the size of the input and not with its square, for inputs made to hurt.

Counted in calls of functions, Python's and the libraries', in all threads; where one call does the
work, by the processor's time for eight times the input, which a busy machine does not change.
"""

import sys
import threading
import time
from collections.abc import Callable

import pytest

from tests.fuzz.target import read_any


def _stamp(n: int) -> str:
    return (
        f"2025-06-{n // 86_400 % 28 + 1:02d}T{n // 3600 % 24:02d}:{n // 60 % 60:02d}:{n % 60:02d}Z"
    )


def _rows(n: int, cell: Callable[[int], str]) -> str:
    return "\n".join(f"{_stamp(k)};{cell(k)}" for k in range(n))


HOSTILE: dict[str, Callable[[int], str]] = {
    "tidy rows": lambda n: "time;t_collector_c\n" + _rows(n, lambda k: f"{k % 90}.5"),
    "each cell another rubbish": lambda n: "time;t_collector_c\n" + _rows(n, lambda k: f"x{k}"),
    "every other line damaged": lambda n: "time;t_collector_c\n"
    + "\n".join(f"{_stamp(k)};{k % 90}" if k % 2 else "x;y;z;1" for k in range(n)),
    "blank lines": lambda n: "time;t_collector_c\n" + "\n" * (20 * n) + _rows(9, str),
    "one line of cells": lambda n: "time;t_collector_c\n" + "1;" * (10 * n),
    "one long cell": lambda n: "time;t_collector_c\n" + _rows(9, str) + "\n" + "9" * (100 * n),
    "quotes": lambda n: "time;t_collector_c\n" + _rows(9, str) + '\n"' + '";"' * (20 * n),
    "blanks": lambda n: "time t_collector_c\n" + "2025-06-01T00:00:00Z" + " " * (100 * n) + "5",
    "many columns": lambda n: "time;" + ";".join(f"c{k}" for k in range(n // 8)) + "\n"
    + "\n".join(f"{_stamp(k)};" + ";".join("5" for _ in range(n // 8)) for k in range(8)),
    "the header again and again": lambda n: "\n".join(
        f"time;t_collector_c\n{_stamp(k)};5" for k in range(n)
    ),
    "a clock that falls back": lambda n: "time;t_collector_c\n" + "\n".join(
        f"2025-06-01T12:{k % 60:02d}:00Z;5\n2010-01-01T00:00:{k % 60:02d}Z;5" for k in range(n)
    ),
    "stamps of every length": lambda n: "time;t_collector_c\n" + "\n".join(
        f"{k % 9 + 1}.{k % 12 + 1}.2025 {k % 24}:0{k % 10}{' ' * (k % 40)};5" for k in range(n)
    ),
    "a long table of many names": lambda n: "time;name;value\n" + "\n".join(
        f"{_stamp(k // 3)};s{k % (n // 4 + 1)};5" for k in range(n)
    ),
    "remarks": lambda n: "# x\n" * (5 * n) + "time;t_collector_c\n" + _rows(9, str),
    "lines under the rows": lambda n: "time;t_collector_c\n" + _rows(n, str) + "\nSum" * n,
    "returns": lambda n: "time;t_collector_c\r" + _rows(n, str).replace("\n", "\r"),
}  # fmt: skip


# Work inside one call, such as an expression's, is not seen by counting calls; it is by the CPU.
HOSTILE_HEADS = {
    "brackets": "a (°",
    "one bracket": "(",
    "square brackets": "[a",
    "blanks": " ",
    "lines": "_",
    "units": "°C ",
    "slashes": "pulse/",
    "digits": "1.",
}


def _cpu_s(data: bytes) -> float:
    def once() -> float:
        before = time.process_time()
        read_any(data)
        return time.process_time() - before

    return min(once() for _ in range(2))


@pytest.mark.parametrize("name", HOSTILE_HEADS)
def test_a_head_made_to_hurt_costs_no_more_than_its_length(name):
    # Each of the first four took the square of its length before heads were looked at in part.
    def log(n: int) -> bytes:
        return f"time;t{HOSTILE_HEADS[name] * n}x\n{_rows(20, str)}".encode()

    few, many = _cpu_s(log(1_000)), _cpu_s(log(8_000))
    assert many < 16 * few + 0.1, (few, many)  # the square would be 64 times


def _calls(data: bytes) -> int:
    count = 0

    def look(frame, event, arg):
        nonlocal count
        if event in ("call", "c_call"):
            count += 1

    threading.setprofile(look)
    sys.setprofile(look)
    try:
        read_any(data)
    finally:
        sys.setprofile(None)
        threading.setprofile(None)
    return count


@pytest.mark.parametrize("name", HOSTILE)
def test_four_times_the_input_is_at_most_six_times_the_work(name):
    small, large = (HOSTILE[name](n).encode() for n in (1_000, 4_000))
    read_any(small)  # what is loaded or remembered once is not counted
    few, many = _calls(small), _calls(large)
    assert few > 100
    assert many < 6 * few * max(1.0, len(large) / len(small) / 4), (few, many)


def test_the_count_would_notice_a_square():
    def squared(n: int) -> int:
        total = 0

        def look(frame, event, arg):
            nonlocal total
            total += event == "c_call"

        sys.setprofile(look)
        for k in range(n):
            for _ in range(k):
                len("")
        sys.setprofile(None)
        return total

    assert squared(400) > 6 * squared(100)
