"""`suntally` at another time: the command as it is, its clock set off by a file's seconds.

A story of weeks is lived through in seconds: `python -m tests.browser.another_time FILE serve ...`.
"""

import sys
from datetime import datetime, timedelta
from pathlib import Path

from service.cli import main
from service.clock import SystemClock


def set_off(file: Path) -> None:
    """Have every clock of this process show the machine's time and the seconds in the file."""
    real = SystemClock.now

    def now(self: SystemClock) -> datetime:
        return real(self) + timedelta(seconds=float(file.read_text(encoding="utf-8")))

    SystemClock.now = now


if __name__ == "__main__":
    set_off(Path(sys.argv[1]))
    sys.exit(main(sys.argv[2:]))
