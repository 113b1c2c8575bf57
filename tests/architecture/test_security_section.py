"""The guide's section about security names tests that are there."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_every_test_that_it_names_is_there():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = guide.split("\n## Security\n")[1].split("\n## ")[0]
    named = set(re.findall(r"`(test_\w+)`", section))
    written = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "tests").rglob("*.py"))
    assert len(named) > 30
    assert {name for name in named if f"def {name}(" not in written} == set()


def test_every_chapter_of_the_standard_is_judged():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    chapters = {int(number) for number in re.findall(r"^\| V(\d+) ", guide, flags=re.MULTILINE)}
    assert chapters == set(range(1, 18))
