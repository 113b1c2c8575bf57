"""How many sites a helper is handed at once.

Handing out costs claims and, on a cluster, messages, so several sites go together; but whoever
pauses, or adds rows, waits for what is handed out, and at the end no helper is to wait for
another one's long chunk: the fewer sites wait, the shorter the chunks.
"""

from collections.abc import Sequence

from service.jobs.queries import Task

_MOST = 8
# A chunk is at most this part of what would be each helper's share of the sites that wait.
_PART = 3


def most_to_count(*, helpers: int) -> int:
    """Give the number of waiting sites from which on more of them change nothing."""
    return _MOST * _PART * helpers


def sizes(waiting: int, *, chunks: int, helpers: int) -> list[int]:
    """Give the sizes of the next chunks, at most so many, while so many sites wait."""
    given: list[int] = []
    while waiting > 0 and len(given) < chunks:
        size = min(_MOST, -(-waiting // (_PART * helpers)))
        given.append(size)
        waiting -= size
    return given


def parted(tasks: Sequence[Task], given: Sequence[int]) -> list[list[Task]]:
    """Part tasks into chunks of these sizes; what was tried in vain goes alone, first."""
    chunks = [[task] for task in tasks if task.again]
    others = [task for task in tasks if not task.again]
    for size in given:
        chunks.append(others[:size])
        others = others[size:]
    return [chunk for chunk in chunks if chunk]
