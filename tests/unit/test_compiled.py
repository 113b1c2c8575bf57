"""Compiled loops: what they cost who needs none, and where their outcome can be kept or not."""

import os

import numpy as np
import pytest

from analysis.compiled import compiled, step
from tests.build_process import ROOT, printed

KERNEL = """
from typing import NamedTuple
from analysis.compiled import compiled, step

class Numbers(NamedTuple):
    one: float

@step
def doubled(number):
    return 2.0 * number

@compiled
def twice(numbers):
    return doubled(numbers.one)
"""
# While this thread imports the compiler, another one imports what is hidden from it.
MEANWHILE = """
import importlib, sys, threading
from analysis.compiled import _numba

def look():
    importlib.import_module("scipy.linalg")
    print("found")

def noticed(frame, event, arg):
    if frame.f_code.co_name == "<module>" and frame.f_code.co_filename.endswith("arraymath.py"):
        sys.setprofile(None)
        beside = threading.Thread(target=look)
        beside.start()
        beside.join(timeout=60)

finders = len(sys.meta_path)
sys.setprofile(noticed)
_numba()
print(len(sys.meta_path) - finders)
"""


def counted(values):
    total = 0.0
    for value in values:
        total += 1.0 / value
    return total


@step
def halved(value):
    return value / 2.0


@step
def quartered(value):
    return halved(halved(value))


@compiled
def quarters(values, total):
    for value in values:
        total[0] += quartered(value)


def test_steps_are_compiled_into_the_loops_that_call_them():
    total = np.zeros(1)
    quarters(np.array([4.0, 8.0]), total)
    assert total[0] == 3.0
    assert quartered(6.0) == 1.5


def test_who_analyses_nothing_does_not_import_the_compiler():
    code = "import sys, analysis.assess, service.cli; print('numba' in sys.modules)"
    assert printed(code).strip() == "False"


def test_without_any_folder_to_keep_it_in_a_loop_is_compiled_all_the_same(monkeypatch):
    caching = pytest.importorskip("numba.core.caching")
    monkeypatch.setattr(caching.CacheImpl, "_locator_classes", [])
    assert compiled(counted)(np.array([1.0, 4.0, 0.0])) == np.inf
    assert compiled(counted)(np.array([1.0, 4.0])) == 1.25


def doubled_in_another_process(folder, name="Numbers"):
    """Double a number by a loop of a module in a folder, which keeps what was compiled, too."""
    (folder / "kernel.py").write_text(KERNEL.replace("Numbers", name), encoding="utf-8")
    return printed(
        f"import kernel; print(kernel.twice(kernel.{name}(0.35)))",
        NUMBA_CACHE_DIR=str(folder / "kept"),
        PYTHONPATH=f"{folder}{os.pathsep}{ROOT}",
        PYTHONDONTWRITEBYTECODE="1",
    )


def test_what_was_kept_serves_other_processes_and_damage_to_it_is_made_good(tmp_path):
    assert doubled_in_another_process(tmp_path) == "0.7\n"
    kept = [path for path in (tmp_path / "kept").rglob("*") if path.is_file()]
    assert {path.suffix for path in kept} == {".nbi", ".nbc"}
    times = {path: path.stat().st_mtime_ns for path in kept}
    assert doubled_in_another_process(tmp_path) == "0.7\n"
    assert {path: path.stat().st_mtime_ns for path in kept} == times
    for path in kept:
        path.write_bytes(b"")
    assert doubled_in_another_process(tmp_path) == "0.7\n"
    assert all(path.stat().st_size for path in kept)


def test_what_another_version_kept_is_not_in_the_way(tmp_path):
    for name in ("Before", "AndAfter"):
        assert doubled_in_another_process(tmp_path, name) == "0.7\n"


def test_another_thread_finds_what_the_compiler_does_without():
    assert printed(MEANWHILE).split() == ["found", "0"]
