"""What was seen to wait: looking goes over all sites, so that one look serves many claims."""

from collections import deque
from collections.abc import Callable

# As much as is done in seconds: what comes meanwhile is seen soon after.
_AT_ONCE = 200


class Lookout:
    """Numbers of the tasks of one kind that waited at the last look, the oldest first.

    Whoever claims one asks again whether it is due and nobody's, so nothing is lost by an old look:
    what came since is seen when the rest is used up.
    """

    def __init__(self, look: Callable[[int], list[int]]) -> None:
        self._look = look
        self._numbers: deque[int] = deque()
        self._saw_all = False

    def waiting(self, most: int) -> int:
        """Count what waits, up to so many; looks anew where more may wait than is known of."""
        known = len(self._numbers)
        if not known or (known < most and not self._saw_all):
            asked = max(most, _AT_ONCE)
            self._numbers = deque(self._look(asked))
            self._saw_all = len(self._numbers) < asked
        return min(len(self._numbers), most)

    def next(self, most: int) -> list[int]:
        """Give the next so many of the last look, each of them once."""
        return [self._numbers.popleft() for _ in range(min(most, len(self._numbers)))]
