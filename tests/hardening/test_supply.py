"""What is installed beside the tool: few things, each with its reason, version and licence."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PYPROJECT = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
PROJECT = tomllib.loads(PYPROJECT)["project"]
# Extras that only tests and developers install are not shipped.
SHIPPED_EXTRAS = ("pdf", "cluster", "xlsx")


def name_of(requirement: str) -> str:
    return re.split(r"[<>=\[ ]", requirement)[0].lower()


def shipped() -> list[str]:
    extras = PROJECT["optional-dependencies"]
    return [*PROJECT["dependencies"], *(r for e in SHIPPED_EXTRAS for r in extras[e])]


def test_every_dependency_has_its_reason_on_its_line() -> None:
    lines = PYPROJECT.splitlines()
    for requirement in shipped():
        (line,) = [x for x in lines if f'"{requirement}"' in x and "#" in x][:1] or [""]
        assert len(line.partition("#")[2].split()) >= 2, f"{requirement}: no reason"
    assert len(PROJECT["dependencies"]) <= 10


def test_every_dependency_is_pinned() -> None:
    pins = (ROOT / "constraints.txt").read_text(encoding="utf-8").lower()
    for requirement in PROJECT["dependencies"]:
        assert re.search(rf"(?m)^{re.escape(name_of(requirement))}==\S+$", pins), requirement


def test_licences_that_the_guide_lists_are_those_that_the_packages_state() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = guide.partition("## Dependencies and their licences")[2].partition("\n## ")[0]
    listed = dict(re.findall(r"(?m)^\| `([\w-]+)` \| ([^|]+?) \|", section))
    assert {n.lower() for n in listed} == {name_of(r) for r in shipped()}
    for name, licence in listed.items():
        try:
            about = metadata(name)
        except PackageNotFoundError:
            continue
        stated = " ".join(
            [
                *(about.get("License-Expression") or "", about.get("License") or ""),
                *(c for c in about.get_all("Classifier") or [] if c.startswith("License")),
            ]
        )
        word = licence.split("-")[0]
        assert word in stated.replace("Apache Software", "Apache"), f"{name}: {stated[:80]}"


@pytest.mark.slow
def test_the_source_archive_installs_where_there_is_nothing_and_runs_the_demo(
    tmp_path: Path,
) -> None:
    """From the sdist, as a packager would: built, installed with the pins, run from elsewhere."""

    def done(*command: str, cwd: Path = tmp_path) -> str:
        clean = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL"))}
        made = subprocess.run(
            command, cwd=cwd, env=clean, capture_output=True, text=True, check=False
        )
        assert made.returncode == 0, made.stdout[-2_000:] + made.stderr[-2_000:]
        return made.stdout

    done(sys.executable, "-m", "build", "--sdist", "--outdir", str(tmp_path), str(ROOT))
    (archive,) = tmp_path.glob("*.tar.gz")
    done(sys.executable, "-m", "venv", str(tmp_path / "new"))
    pip = [str(tmp_path / "new" / "bin" / "python"), "-m", "pip", "install", "--quiet"]
    done(*pip, "--constraint", str(ROOT / "constraints.txt"), str(archive))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    said = done(str(tmp_path / "new" / "bin" / "zonetrail"), "demo", cwd=elsewhere)
    report = re.search(r"Report: (\S+)", said)
    assert report and (elsewhere / report[1]).is_file()
