"""Progress of long work: one line that renews itself, on a terminal only."""

import shutil
from typing import TextIO


class Progress:
    """Says what is being done; silent where nobody watches.

    Parameters
    ----------
    stream : where it is written
    always : write plain lines where the stream is no terminal, instead of nothing
    """

    def __init__(self, stream: TextIO, *, always: bool = False) -> None:
        self._stream = stream
        self._terminal = stream.isatty()
        self._always = always
        self._shown = False

    def say(self, text: str) -> None:
        """Say what is being done now."""
        if self._terminal:
            width = max(20, shutil.get_terminal_size().columns - 1)
            self._stream.write(f"\r\x1b[K{text[:width]}")
            self._shown = True
        elif self._always:
            self._stream.write(f"{text}\n")
        self._stream.flush()

    def clear(self) -> None:
        """Take the line away."""
        if self._shown:
            self._stream.write("\r\x1b[K")
            self._stream.flush()
            self._shown = False
