"""Python code in a process of its own, for what cannot be told or undone inside this one."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def printed(code: str, *arguments: str, **environment: str) -> str:
    """Run code from the project's root; gives what it printed, and fails where it failed."""
    run = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert run.returncode == 0, run.stderr
    return run.stdout
