"""The dependency rule, as contracts that name file and line where they are broken."""

import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_every_root_package_of_the_contracts_exists():
    for name in PROJECT["tool"]["importlinter"]["root_packages"]:
        assert (ROOT / name / "__init__.py").is_file(), name


def test_import_contracts_are_kept(tmp_path):
    run = subprocess.run(
        [
            sys.executable,
            "-c",
            "from importlinter.cli import lint_imports_command; lint_imports_command()",
            "--cache-dir",
            str(tmp_path),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert run.returncode == 0, run.stdout[-4000:] + run.stderr[-2000:]
    assert "0 broken" in run.stdout


def test_faults_never_import_each_other():
    folder = ROOT / "analysis" / "faults"
    kinds = [path.stem for path in folder.glob("*.py") if not path.stem.startswith("_")]
    for path in folder.glob("*.py"):
        if path.stem == "__init__":
            continue
        text = path.read_text(encoding="utf-8")
        others = [kind for kind in kinds if f"analysis.faults.{kind}" in text]
        assert not others, f"{path.name} imports {others}"
