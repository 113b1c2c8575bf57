"""Coverage-guided fuzzing of the reader; atheris is installed by hand (`pip install atheris`).

python -m tests.fuzz.atheris_reader [corpus folder] [libFuzzer options, such as -max_total_time=600]

Begins from cases of the corpus of dialects and the small broken logs. A crash is written by
libFuzzer to `crash-*`; give it as the only argument to see it again. Slow inputs show as time-outs
(-timeout=10), a blow-up of memory as -rss_limit_mb.
"""

import sys
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["analysis"]):
    from tests.fuzz.target import read_any

_LOGS = Path(__file__).parents[2] / "fixtures/logs"


def _seeds(folder: Path) -> None:
    from fixtures.log_corpus import corpus

    folder.mkdir(parents=True, exist_ok=True)
    for path in _LOGS.glob("*.csv"):
        (folder / path.name).write_bytes(path.read_bytes())
    for case in corpus(40):
        (folder / case.name).write_bytes(case.data[:4_000])


def main() -> None:
    """Fuzz until stopped."""
    folders = [Path(arg) for arg in sys.argv[1:] if not arg.startswith("-")]
    for folder in folders:
        if not folder.is_file():
            _seeds(folder)
    atheris.Setup(sys.argv, lambda data: read_any(bytes(data)) and None)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
