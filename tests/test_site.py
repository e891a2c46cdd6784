"""The site file: everything in it is checked, and every problem told at once with its line."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pipeline.errors import InputError, SiteFileError, UserError
from pipeline.site import Site, parse_fingerprint
from pipeline.site_keys import TABLES
from pipeline.site_reader import read_site
from pipeline.thresholds import FIXED_KINDS, THRESHOLDS

SAMPLE = Path(__file__).parents[1] / "sample_data" / "larch-14" / "site.toml"
LEAST = '[site]\nid = "a-1"\ntimezone = "America/Denver"\n[equipment]\nkind = "furnace_ac"\n'


def site_of(folder: Path, text: str) -> Site:
    """The site of this text below the least that a site file needs."""
    path = folder / "site.toml"
    path.write_text(LEAST + text, encoding="utf-8")
    return read_site(path)


def problems_of(folder: Path, text: str) -> list[UserError]:
    """The problems in this text below the least that a site file needs (five lines)."""
    with pytest.raises(SiteFileError) as caught:
        site_of(folder, text)
    return caught.value.problems


def test_id_timezone_and_kind_are_all_that_is_needed(tmp_path: Path) -> None:
    site = site_of(tmp_path, "")
    assert (site.id, site.timezone, site.equipment.kind) == ("a-1", "America/Denver", "furnace_ac")
    assert site.settings.given() == {} and site.zones == () and site.settings_in_force() == []


def test_sample_site_file_is_read_whole() -> None:
    site = read_site(SAMPLE)
    assert site.settings.static_target_inwc == 0.40
    assert site.settings.stage2_min_zones == 2
    assert site.equipment.temperature_rise_f == ((35, 65), (40, 70))
    assert [z.number for z in site.zones] == [1, 2, 3, 4]
    assert site.channels[0].meaning.kind == "analog"
    # 14:00 in Denver in January is 21:00 UTC.
    assert site.visits[0].start_ts == int(datetime(2026, 1, 12, 21, tzinfo=UTC).timestamp()) * 10**6


def test_a_folder_stands_for_its_site_file(tmp_path: Path) -> None:
    site_of(tmp_path, "")
    assert read_site(tmp_path).path == tmp_path / "site.toml"


def test_a_missing_site_file_says_how_to_draft_one(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no site file") as caught:
        read_site(tmp_path)
    assert "zonetrail inspect" in (caught.value.hint or "")


def test_all_problems_are_told_at_once_in_the_order_of_their_lines(tmp_path: Path) -> None:
    problems = problems_of(
        tmp_path,
        "\n".join(
            [
                "altitude = 5280",  # 6, of [equipment]
                "[settings]",
                'static_target_inwc = "0.4"',  # 8
                "high_limt_f = 150",  # 9
                "[[zone]]",
                "number = 1",
                "[[zone]]",
                "number = 1",  # 13
                "[[channel]]",
                'column = "A"',
                'role = "suply_temp"',  # 16
                "[[channel]]",
                'column = "B"',
                'role = "zone_temp"',
                "zone = 7",  # 20
                "[[chanel]]",  # 21
                'column = "C"',
            ]
        ),
    )
    assert [p.line for p in problems] == [6, 8, 9, 13, 16, 20, 21]
    assert [p.found for p in problems] == [
        *('"altitude"', '"0.4"', '"high_limt_f"', "1", '"suply_temp"', "7", '"chanel"'),
    ]
    assert "a number from 0 to 5" in (problems[1].expected or "")
    assert problems[2].expected == '"high_limit_f"?'
    assert problems[4].expected == '"supply_temp"?'
    assert problems[5].expected == "one of 1"
    assert problems[6].expected == '"channel"?'
    assert all(p.file == str(tmp_path / "site.toml") for p in problems)


@pytest.mark.parametrize("table", sorted(set(TABLES) - {"thresholds"}))
def test_an_unknown_key_is_refused_in_every_table(tmp_path: Path, table: str) -> None:
    (tmp_path / "site.toml").write_text(
        LEAST.replace(f"[{table}]", f"[{table}]\nnonsense = 1")
        if f"[{table}]" in LEAST
        else LEAST + (f"[{table}]" if table == "settings" else f"[[{table}]]") + "\nnonsense = 1\n",
        encoding="utf-8",
    )
    with pytest.raises(SiteFileError) as caught:
        read_site(tmp_path)
    assert any(p.what == f"nonsense is not a key of [{table}]" for p in caught.value.problems)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ('[settings]\nstage_up_by = "clock"', 'stage_up_by cannot be "clock"'),
        ("[settings]\nstage2_min_zones = 1.5", "stage2_min_zones cannot be 1.5"),
        ("[settings]\nhigh_limit_f = true", "high_limit_f cannot be true"),
        ('[[zone]]\nnumber = 1\nsetback = "22-6"', 'setback cannot be "22-6"'),
        ('[[export]]\nfiles = "a"\ntimezone = "MST7"', 'timezone cannot be "MST7"'),
        ('[[export]]\nfiles = "a"\nname_column = "P"', "name_column and value_column go together"),
        ('[[channel]]\ncolumn = "A"', "[channel] has no role"),
        (
            '[[channel]]\ncolumn = "A"\nrole = "zone_temp"',
            "zone_temp belongs to a zone",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "output_w1"\nzone = 1',
            "output_w1 belongs to the equipment, not to a zone",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "supply_temp"\nunit = "Pa"',
            "Pa is not a unit of temperature",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "supply_temp"\nthreshold = 3',
            "threshold is for on/off channels; supply_temp is a number",
        ),
        (
            '[[visit]]\nfrom = "2026-01-14T10:00"\nto = "2026-01-14T09:00"\nwhat = "x"',
            "the visit ends before it starts",
        ),
        (
            '[[visit]]\nfrom = "2026-03-08T02:30"\nto = "2026-03-08T04:00"\nwhat = "x"',
            "2026-03-08T02:30:00 does not exist in America/Denver: clocks went forward",
        ),
        (
            '[[visit]]\nfrom = "2026-01-14T10:00"\nto = "2026-01-14T11:00"\nwhat = "x"\n'
            "set = { delay = 15 }",
            "delay is not a setting",
        ),
        ("[zone]\nnumber = 1", "zone is written otherwise"),
        (
            '[[channel]]\ncolumn = "A"\nrole = "supply_temp"\ninverted = true',
            "inverted is for on/off channels and pressures; supply_temp is neither",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "output_w1"\nform = "seconds_on"\ninverted = true',
            "a total over an interval cannot be inverted",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "output_w1"\ninverted = "yes"',
            'inverted cannot be "yes"',
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "output_w1"\nzero_shift = 1',
            "zero_shift is for numbers; output_w1 is on or off",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "static_pressure"\nzero_shift = "0.1"',
            'zero_shift cannot be "0.1"',
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "static_pressure"\n'
            'zero_shift_from = "2026-01-14T10:00"',
            "zero_shift_from without zero_shift",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "static_pressure"\n'
            'zero_shift_until = "2026-01-14T10:00"',
            "zero_shift_until without zero_shift",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "static_pressure"\nzero_shift = 20\n'
            'zero_shift_from = "2026-01-14T10:00"\nzero_shift_until = "2026-01-14T10:00"',
            "the zero shift ends before it starts",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "static_pressure"\nzero_shift = 20\n'
            'zero_shift_from = "2026-03-08T02:30"',
            "2026-03-08T02:30:00 does not exist in America/Denver: clocks went forward",
        ),
        (
            '[[channel]]\ncolumn = "A"\nrole = "static_pressure"\nzero_shift = 20\n'
            'zero_shift_from = "yesterday"',
            'zero_shift_from cannot be "yesterday"',
        ),
    ],
)
def test_a_wrong_value_is_refused(tmp_path: Path, text: str, what: str) -> None:
    assert what in [p.what for p in problems_of(tmp_path, text)]


def test_what_corrects_a_channel_is_read_in_its_own_unit_and_the_sites_time(tmp_path: Path) -> None:
    """10:00 in Denver on 14 January is 17:00 UTC (UTC-7): 1,768,410,000 s after 1970."""
    # days from 1970-01-01 to 2026-01-14: 56 * 365 + 14 leap days + 13 = 20467; + 17 h
    seconds = 20467 * 86400 + 17 * 3600
    assert seconds == 1_768_410_000
    site = site_of(
        tmp_path,
        '[[channel]]\ncolumn = "A"\nrole = "static_pressure"\nunit = "Pa"\ninverted = true\n'
        'zero_shift = -20.5\nzero_shift_from = "2026-01-14T10:00"\n'
        'zero_shift_until = "2026-01-14T18:00:30Z"\n'
        '[[channel]]\ncolumn = "B"\nrole = "supply_temp"\nzero_shift = 2\n'
        '[[channel]]\ncolumn = "C"\nrole = "output_w1"\ninverted = true',
    )
    static, supply, output = site.channels
    assert (static.inverted, static.zero_shift) == (True, -20.5)
    assert static.zero_shift_from_ts == seconds * 1_000_000
    assert static.zero_shift_until_ts == (seconds + 3630) * 1_000_000
    assert (supply.zero_shift_from_ts, supply.zero_shift_until_ts) == (None, None)
    assert output.inverted and output.zero_shift is None


def test_a_site_without_zone_blocks_has_the_zones_its_channels_name(tmp_path: Path) -> None:
    text = '[[channel]]\ncolumn = "A"\nrole = "zone_temp"\nzone = 3\n'
    assert [(z.number, z.name) for z in site_of(tmp_path, text).zones] == [(3, "Zone 3")]


def test_what_is_no_toml_is_told_with_its_line(tmp_path: Path) -> None:
    problems = problems_of(tmp_path, "[settings]\nhigh_limit_f = 150 F\n")
    assert problems[0].line == 7 and problems[0].found == "high_limit_f = 150 F"


def test_lines_are_told_below_text_over_several_lines(tmp_path: Path) -> None:
    text = '[[channel]]\ncolumn = """a\nrole = 3\n"""\non = [\n  "x",\n]\nrole = "nothing"\n'
    # Five lines, [[channel]] 6, column 7-9, on 10-12, role 13.
    assert [p.line for p in problems_of(tmp_path, text)] == [13]


def test_a_byte_order_mark_is_no_part_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(b"\xef\xbb\xbf" + LEAST.encode())
    assert read_site(path).id == "a-1"


# ------------------------------------------------------------------------------ settings in force


def test_settings_are_in_force_from_the_end_of_the_visit_that_set_them(tmp_path: Path) -> None:
    site = site_of(
        tmp_path,
        """
[settings]
stage_up_delay_min = 10
high_limit_f = 150
[[visit]]
from = "2026-02-10T09:00"
to = "2026-02-10T10:30"
what = "delay again, limit sensor moved"
set = { stage_up_delay_min = 20, purge_s = 90 }
[[visit]]
from = "2026-01-14T10:00"
to = "2026-01-14T11:20"
what = "delay"
set = { stage_up_delay_min = 15 }
""",
    )
    # Outside check: zoneinfo says which instants 11:20 and 10:30 in Denver are.
    zone = ZoneInfo("America/Denver")
    first = int(datetime(2026, 1, 14, 11, 20, tzinfo=zone).timestamp()) * 10**6
    second = int(datetime(2026, 2, 10, 10, 30, tzinfo=zone).timestamp()) * 10**6
    assert sorted(site.settings_in_force(), key=lambda r: (r[0], r[2] or 0)) == [
        ("high_limit_f", 150, None, None),
        ("purge_s", 90, second, None),
        ("stage_up_delay_min", 10, None, first),
        ("stage_up_delay_min", 15, first, second),
        ("stage_up_delay_min", 20, second, None),
    ]


# -------------------------------------------------------------------------------------- thresholds


def test_a_judgement_number_may_be_set(tmp_path: Path) -> None:
    name = "gap_finding_min_s"
    assert THRESHOLDS[name].kind not in FIXED_KINDS
    assert site_of(tmp_path, f"[thresholds]\n{name} = 7").thresholds == {name: 7.0}


def test_an_unknown_judgement_number_is_refused_with_the_nearest(tmp_path: Path) -> None:
    name = next(iter(THRESHOLDS))
    problem = problems_of(tmp_path, f"[thresholds]\n{name}x = 7")[0]
    assert problem.line == 7 and problem.expected == f'"{name}"?'


@pytest.mark.parametrize("kind", sorted(FIXED_KINDS))
def test_numbers_of_standards_and_safeties_cannot_be_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    name, threshold = next(iter(THRESHOLDS.items()))
    monkeypatch.setitem(THRESHOLDS, name, replace(threshold, kind=kind))
    problem = problems_of(tmp_path, f"[thresholds]\n{name} = 7")[0]
    assert problem.what.startswith(f"{name} cannot be set by a site")
    assert f"{threshold.value:g} {threshold.unit} stands" in (problem.expected or "")


def test_every_judgement_number_lies_within_its_own_bounds() -> None:
    assert [n for n, t in THRESHOLDS.items() if not t.bounds.holds(t.value)] == []


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("coverage_min_frac", "7", "at least 0 and at most 1 [share]"),
        ("coverage_min_frac", "-0.1", "at least 0 and at most 1 [share]"),
        ("chatter_max_s", "nan", "more than 0 and at most 31,622,400 [s]"),
        ("chatter_max_s", "inf", "more than 0 and at most 31,622,400 [s]"),
        ("chatter_max_s", "-1", "more than 0 and at most 31,622,400 [s]"),
        ("chatter_max_s", "0", "more than 0 and at most 31,622,400 [s]"),
        ("short_cycling_min_starts", "0", "at least 1 and at most 1,000,000 [starts]"),
        ("hold_max_intervals", "0.9", "at least 1 and at most 1,000 [intervals]"),
        ("limit_cluster_f", "-inf", "at least 0 and at most 500 [°F]"),
        ("limit_cluster_f", "1" + 400 * "0", "at least 0 and at most 500 [°F]"),
    ],
)
def test_a_judgement_number_that_means_nothing_is_refused(
    tmp_path: Path, name: str, value: str, expected: str
) -> None:
    problem = problems_of(tmp_path, f"[thresholds]\n{name} = {value}")[0]
    assert problem.line == 7 and problem.found is not None
    assert problem.expected == expected


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("coverage_min_frac", 0.0),
        ("coverage_min_frac", 1.0),
        ("hold_max_intervals", 1.0),
        ("short_cycling_min_starts", 1.0),
        ("visit_first_min", 0.0),
    ],
)
def test_a_judgement_number_at_its_bound_is_taken(tmp_path: Path, name: str, value: float) -> None:
    assert site_of(tmp_path, f"[thresholds]\n{name} = {value}").thresholds == {name: value}


# ------------------------------------------------------------------------------------- fingerprint

CHANNEL = '[[channel]]\ncolumn = "A"\nrole = "supply_temp"\nunit = "degF"\n'
EXPORT = '[[export]]\nfiles = "exports/*.csv"\n'


@pytest.mark.parametrize(
    ("before", "after", "is_same"),
    [
        ("", '[settings]\nhigh_limit_f = 150\n[[zone]]\nnumber = 1\nname = "x"\n', True),
        (EXPORT, EXPORT + "clock_offset_s = 420\n", True),
        (EXPORT, EXPORT + "reference = true\n", True),
        (EXPORT, EXPORT + 'timezone = "UTC"\n', False),
        (EXPORT, EXPORT + 'date_order = "dmy"\n', False),
        (EXPORT, EXPORT + 'missing = ["-999"]\n', False),
        (CHANNEL, CHANNEL + 'where = "trunk"\n', True),
        (CHANNEL, CHANNEL.replace("degF", "degC"), False),
        (CHANNEL, CHANNEL.replace("supply", "return"), False),
        (CHANNEL, "# a comment\n\n" + CHANNEL, True),
    ],
)
def test_fingerprint_changes_only_with_what_governs_reading(
    tmp_path: Path, before: str, after: str, is_same: bool
) -> None:
    one = parse_fingerprint(site_of(tmp_path, before))
    assert (one == parse_fingerprint(site_of(tmp_path, after))) == is_same
