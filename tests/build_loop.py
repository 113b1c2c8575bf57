"""A loop whose time passes as fast as nothing happens, for tests of what waits for minutes."""

import asyncio
import selectors
from collections.abc import Coroutine
from typing import Any, TypeVar

Result = TypeVar("Result")


class _Skipping(selectors.DefaultSelector):
    """Waits for nothing: what would have been waited for has passed."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = 0.0

    def select(self, timeout: float | None = None) -> Any:
        """Give what is ready; with nothing to wait until, wait for another thread."""
        if timeout is None:
            return super().select(None)
        ready = super().select(0)
        self.now_s += 0.0 if ready else max(timeout, 0.0)
        return ready


class _Loop(asyncio.SelectorEventLoop):
    def __init__(self) -> None:
        self._skipping = _Skipping()
        super().__init__(self._skipping)

    def time(self) -> float:
        """Give the seconds that would have passed."""
        return self._skipping.now_s


def run_skipping(work: Coroutine[Any, Any, Result]) -> Result:
    """Run what sleeps and times out without the wait; the loop's clock begins at nought."""
    with asyncio.Runner(loop_factory=_Loop) as runner:
        return runner.run(work)
