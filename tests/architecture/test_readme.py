"""README's commands are the ones that CI runs, and its table names every setting."""

import re
from pathlib import Path

from service.settings import Settings
from tests.pictures import MOST_BYTES

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_ci_runs_readmes_second_command():
    commands = re.findall(r"^python3 -m venv .*$", README, flags=re.MULTILINE)
    assert len(commands) == 2
    assert commands[1] in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_readme_names_every_setting():
    text = README.upper()
    for name in Settings.model_fields:
        whole, tail = f"SUNTALLY_{name.upper()}", f"`_{name.upper().removeprefix('SMTP_')}`"
        assert f"`{whole}`" in text or tail in text, f"{whole} is not in README.md"


def test_the_first_paragraph_tells_the_job():
    first = README.split("\n\n")[1]
    for word in ("installer", "backup boiler", "what it costs"):
        assert word in first


def test_readme_shows_every_picture_small_and_in_words():
    shown = re.findall(r'<img src="(fixtures/pictures/[^"]+)" width="\d+%" alt="([^"]+)">', README)
    files = sorted((ROOT / "fixtures" / "pictures").iterdir())
    assert sorted(ROOT / name for name, _ in shown) == files
    assert all(file.stat().st_size < MOST_BYTES for file in files)
