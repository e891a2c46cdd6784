"""The texts are true: generated parts are fresh, every verb is named, every named file exists."""

from __future__ import annotations

import re
from pathlib import Path

from pipeline.cli import zonetrail
from pipeline.cli.stages import with_generated_tables
from pipeline.measures.inferred_numbers import NUMBERS
from pipeline.tables import tables
from pipeline.thresholds import FIXED_KINDS, THRESHOLDS

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_generated_tables_are_fresh() -> None:
    assert with_generated_tables(GUIDE) == GUIDE, "run: make docs"


def test_files_that_the_guide_names_are_there() -> None:
    named = set(re.findall(r"`((?:pipeline|reports|sql|tests|sample_data)/[\w./-]*)`", GUIDE))
    assert named
    generic = {
        "sql/NN_schema/NN_table.sql",
        "sql/50_measure/NN_name.sql",
        "pipeline/findings/name.py",
    }
    generic |= {
        "tests/findings/test_name.py",
        "tests/sql/measure.name/case/",
        "reports/blocks/name.py",
    }
    missing = {n for n in named - generic if not (ROOT / n).exists()}
    assert not missing


def test_every_verb_has_help_with_an_example_and_exit_codes() -> None:
    context = zonetrail.make_context("zonetrail", ["stages"])
    for name in zonetrail.list_commands(context):
        verb = zonetrail.get_command(context, name)
        assert verb is not None
        help_text = f"{verb.help} {verb.epilog}"
        assert f"zonetrail {name}" in help_text, name
        assert "Exit codes" in help_text, name


def test_readme_names_every_verb() -> None:
    context = zonetrail.make_context("zonetrail", ["stages"])
    for name in zonetrail.list_commands(context):
        assert f"zonetrail {name}" in README or f"make {name}" in README, name


def test_every_threshold_has_its_unit_meaning_and_source() -> None:
    for name, threshold in THRESHOLDS.items():
        assert name == threshold.name
        for text in (threshold.unit, threshold.means, threshold.applies_when, threshold.source):
            assert text.strip(), name
        assert threshold.kind in FIXED_KINDS | {"trade", "ours", "site"}, name
        if threshold.kind == "trade":
            assert threshold.source == "common practice, no source", name


def test_every_threshold_is_used() -> None:
    code = "\n".join(
        p.read_text(encoding="utf-8")
        for folder in ("pipeline", "sql", "reports")
        for p in (ROOT / folder).rglob("*")
        if p.suffix in (".py", ".sql") and p.name != "thresholds.py"
    )
    unused = set(THRESHOLDS) - set(re.findall(r"\w+", code))
    assert not unused


def test_every_number_of_the_inferred_runs_is_used_once_declared() -> None:
    """Those no site sets stand in a table of their own, with the same columns."""
    code = "\n".join(
        p.read_text(encoding="utf-8")
        for p in (ROOT / "pipeline" / "measures").glob("*.py")
        if p.name != "inferred_numbers.py"
    )
    for name, row in NUMBERS.items():
        assert f'number("{name}")' in code, name
        assert row.unit and row.means and row.applies_when and row.source, name
        assert name not in THRESHOLDS, name
    asked = set(re.findall(r'number\("(\w+)"\)', code))
    assert asked <= set(NUMBERS)


def test_every_column_has_a_unit_and_a_meaning() -> None:
    for table in tables().values():
        assert table.grain.startswith("one row per"), table.name
        for column in table.columns:
            assert column.unit and column.meaning, f"{table.name}.{column.name}"
            if column.name.endswith("_ts"):
                assert (column.type, column.unit) == ("BIGINT", "us"), f"{table.name}.{column.name}"


def test_no_file_is_too_long_without_a_reason() -> None:
    # A table of numbers is read by search, and a file of tests is a list of independent sentences.
    limits = {"pipeline": 400, "reports": 400, "sql": 400, "sample_data": 400, "tests": 600}
    tables_of_numbers = {"pipeline/thresholds.py"}
    long = {
        str(p.relative_to(ROOT))
        for folder, limit in limits.items()
        for p in (ROOT / folder).rglob("*")
        if p.suffix in (".py", ".sql") and len(p.read_text(encoding="utf-8").splitlines()) > limit
    }
    assert long <= tables_of_numbers
