"""The wheel holds exactly what the folders hold, so the demo works where only it is installed."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("pipeline", "reports", "sql", "sample_data")


def test_wheel_holds_what_the_folders_hold(tmp_path: Path) -> None:
    made = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--outdir", str(tmp_path), str(ROOT)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert made.returncode == 0, made.stderr[-2000:]
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        packed = {n for n in archive.namelist() if n.split("/")[0] in PACKAGES}
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", *PACKAGES],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert packed == set(listed.stdout.splitlines())


def test_nothing_imports_upstream() -> None:
    """reports/ reads records; only the command line joins pipeline and reports."""
    for path in (ROOT / "pipeline").rglob("*.py"):
        if path.parent.name != "cli":
            text = path.read_text(encoding="utf-8")
            assert "from reports" not in text and "import reports" not in text, path
    for path in (ROOT / "reports").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for inner in (
            "duckdb",
            "pipeline.store",
            "pipeline.stages",
            "pipeline.site",
            "pipeline.ingest",
        ):
            assert f"import {inner}" not in text and f"from {inner} " not in text, (path, inner)


def test_only_the_store_opens_duckdb() -> None:
    for path in [*(ROOT / "pipeline").rglob("*.py"), *(ROOT / "reports").rglob("*.py")]:
        if path.name != "store.py":
            assert "duckdb.connect" not in path.read_text(encoding="utf-8"), path
