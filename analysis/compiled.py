"""Compiling a loop over numbers, where numpy would take a call for each step.

Importing numba takes a third of a second and compiling a loop about as long, so both wait for the
first call: a command that analyses nothing pays for neither.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import wraps
from importlib.abc import MetaPathFinder
from pickle import UnpicklingError
from threading import Lock, get_ident
from types import FunctionType
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

_Given = ParamSpec("_Given")
_Result = TypeVar("_Result")
_Number = TypeVar("_Number", bound=np.generic)

# What was kept cannot be read: a file cut short by a lost current, a named tuple that another
# version of this program calls otherwise. Reading a pickle may raise any of these.
_UNREADABLE = (
    AttributeError,
    EOFError,
    ImportError,
    IndexError,
    KeyError,
    TypeError,
    UnpicklingError,
    ValueError,
)
# No folder to keep it in, a full disk, or what cannot be read cannot be done away with either.
_NOT_KEPT = (RuntimeError, OSError, *_UNREADABLE)

_one_at_a_time = Lock()
_STEPS: set[Callable[..., Any]] = set()


def compiled(loop: Callable[_Given, _Result]) -> Callable[_Given, _Result]:
    """Compile a loop when it is first called; it runs without the interpreter's lock.

    Its arguments are numbers, arrays and named tuples of numbers, of the same types and layout in
    every call: others are compiled anew. Divisions by zero give infinity or NaN, as in numpy.
    """
    made: list[Callable[_Given, _Result]] = []

    @wraps(loop)
    def call(*args: _Given.args, **kwargs: _Given.kwargs) -> _Result:
        if not made:
            with _one_at_a_time:
                if not made:
                    made.append(_compiled(loop, args))
        return made[0](*args, **kwargs)

    return call


def step(function: Callable[_Given, _Result]) -> Callable[_Given, _Result]:
    """Mark a function that compiled loops of its module call, and other steps of these.

    Neither it nor such a loop makes arrays: to count who holds one took half of the time.
    """
    _STEPS.add(function)
    return function


def given(values: NDArray[_Number]) -> NDArray[_Number]:
    """Give an array as a loop reads it: whole rows in order, not to be written.

    What may be written, and what is a part of another array, would each be compiled for anew.
    """
    read = np.ascontiguousarray(values).view()
    read.setflags(write=False)
    return read


def make_ready() -> None:
    """Do now what the first call of a loop would wait for, but for the loop itself."""
    with _one_at_a_time:
        target = _numba().core.registry.cpu_target
        target.typing_context.refresh()
        target.target_context.refresh()


def _compiled(
    loop: Callable[_Given, _Result], args: tuple[object, ...]
) -> Callable[_Given, _Result]:
    """Compile for arguments of these types, and keep the outcome for other processes.

    It is kept beside the source, or where that is read-only in the user's folder for caches, or
    where `NUMBA_CACHE_DIR` says. Where that fails each process compiles for itself.
    """
    numba = _numba()
    types = tuple(numba.typeof(value) for value in args)
    loop, options = _with_steps(loop, numba)
    try:
        kept = numba.njit(nogil=True, cache=True, **options)(loop)
        try:
            kept.compile(types)
        except _UNREADABLE:
            # Left there, it would be in the way of every process to come.
            kept._cache.flush()
            kept.compile(types)
    except _NOT_KEPT:
        kept = numba.njit(nogil=True, **options)(loop)
        kept.compile(types)
    return cast("Callable[_Given, _Result]", kept)


def _with_steps(
    loop: Callable[_Given, _Result], numba: Any
) -> tuple[Callable[_Given, _Result], dict[str, Any]]:
    """Give a loop whose steps are ready to be compiled into it, and how to compile it.

    Nobody calls a loop from C, nor a step from Python: what that would want is not made.
    """
    assert isinstance(loop, FunctionType)
    steps = {}
    for name in loop.__code__.co_names:
        called = loop.__globals__.get(name)
        if isinstance(called, FunctionType) and called in _STEPS:
            ready, options = _with_steps(called, numba)
            steps[name] = numba.njit(no_cpython_wrapper=True, **options)(ready)
    made = FunctionType(loop.__code__, loop.__globals__ | steps, loop.__name__)
    made.__qualname__, made.__module__ = loop.__qualname__, loop.__module__
    lean = {"_nrt": False} if steps or loop in _STEPS else {}
    options = {"error_model": "numpy", "no_cfunc_wrapper": True, **lean}
    return cast("Callable[_Given, _Result]", made), options


def _numba() -> Any:
    """Import numba without what it looks for and no loop here wants: half as long again, and 15 MB.

    That is the linear algebra of scipy, functions of C by cffi, and settings in a file by yaml.
    """
    if "numba.np.arraymath" not in sys.modules:
        with _hidden("scipy.linalg", "cffi", "yaml"):
            import numba.np.arraymath
    import numba

    return numba


@contextmanager
def _hidden(*modules: str) -> Iterator[None]:
    """Let this thread find no such modules; others meanwhile import them as ever."""
    here = get_ident()

    class Nowhere(MetaPathFinder):
        def find_spec(self, fullname: str, path: Sequence[str] | None, target: Any = None) -> None:
            if fullname in modules and get_ident() == here:
                raise ModuleNotFoundError(fullname, name=fullname)

    nowhere = Nowhere()
    # Another list each time: what other threads are going through stays as it is.
    sys.meta_path = [nowhere, *sys.meta_path]
    try:
        yield
    finally:
        sys.meta_path = [finder for finder in sys.meta_path if finder is not nowhere]
