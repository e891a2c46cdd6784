"""The sample fleet holds what its description says; nothing is simulated here but one slow site."""

from __future__ import annotations

import json
import lzma
import tarfile
from pathlib import Path

import click
import pytest

from pipeline.cli import demo
from pipeline.cli.demo import run_sample_fleet
from pipeline.errors import SiteFileError
from pipeline.site import Site
from pipeline.site_reader import read_site
from sample_data.fleet.make import HERE, PLANTED, contents
from sample_data.fleet.sites import DAYS, FLEET, FleetSite
from sample_data.unpack import fleet_sites, unpack_fleet, unpack_fleet_site
from sample_data.world.conditions import BY_NAME
from tests.fleet_sites import write_site

GUIDE = (HERE.parent / "README.md").read_text(encoding="utf-8")
BY_ID = {site.id: site for site in FLEET}
ROWS = DAYS * 24 * 60


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return unpack_fleet(tmp_path_factory.mktemp("sample") / "fleet")


@pytest.fixture(scope="module")
def sites(folder: Path) -> dict[str, Site]:
    return {s.id: read_site(folder / s.id) for s in FLEET if s.trouble != "cannot be read"}


def test_24_sites_under_6_mb_of_archives() -> None:
    archives = sorted((HERE / "packed").iterdir())
    assert [a.name for a in archives] == sorted(f"{s.id}.tar.xz" for s in FLEET)
    assert fleet_sites() == sorted(BY_ID) and len(FLEET) == 24
    assert sum(a.stat().st_size for a in archives) < 6_000_000


def test_a_third_is_faulty_and_what_is_planted_is_written_down() -> None:
    told = json.loads((HERE / PLANTED).read_text(encoding="utf-8"))
    assert list(told) == [s.id for s in FLEET]
    for site in FLEET:
        one = told[site.id]
        condition, severity = site.planted or ("healthy", 0)
        assert (one["condition"], one["severity"]) == (condition, severity)
        assert one["trouble"] == site.trouble
        assert bool(one["must"]) is (site.planted is not None), site.id
        if severity >= 2:  # milder ones need not show
            assert set(one["must"]) & set(BY_NAME[condition].codes), site.id
    assert sum(s.planted is not None for s in FLEET) == 8
    assert [s.id for s in FLEET if s.trouble] == ["maple-19", "acacia-22"]


def test_the_readme_names_every_site_with_what_is_planted() -> None:
    for site in FLEET:
        row = next(line for line in GUIDE.splitlines() if line.startswith(f"| {site.id} "))
        told = site.planted[0] if site.planted else site.trouble or "healthy"
        assert told in row, site.id
        assert f"{site.kind}, {site.climate}, {site.zones} zones" in row, site.id


def test_one_wrong_setting_stands_behind_three_sites_of_one_crew() -> None:
    wrong = [s for s in FLEET if s.planted and s.planted[0] == "second stage for one zone"]
    assert len(wrong) == 3 and {s.crew for s in wrong} == {"Birch crew"}
    # of others' sites none has it, and one of the crew's own is healthy
    assert [s.id for s in FLEET if s.crew == "Birch crew" and not s.planted] == ["hazel-33"]


def test_twelve_sites_are_alike_so_that_they_have_peers(sites: dict[str, Site]) -> None:
    alike = [
        s for s in sites.values()
        if s.equipment.kind == "furnace_ac" and s.timezone == "America/Denver"
    ]  # fmt: skip
    assert len(alike) == 12
    assert {(s.equipment.heating_stages, s.equipment.cooling_stages) for s in alike} == {(2, 1)}
    assert {len(s.zones) for s in alike} == {3}
    assert len({s.climate for s in FLEET}) == 4 and len({s.kind for s in FLEET}) == 4


def test_site_files_carry_the_owners_notes(sites: dict[str, Site]) -> None:
    for site_id, site in sites.items():
        made = BY_ID[site_id]
        assert site.id == site_id and site.name == made.name
        assert (site.region, site.installer) == (made.climate, made.crew)
        assert (site.agreement, site.installed) == (made.agreement, made.installed)
        assert (site.next_visit, site.call_first) == (made.next_visit, made.call_first)
    assert [s for s in sites if sites[s].call_first] == ["cedar-40", "juniper-12", "willow-7"]


def test_one_site_cannot_be_read_and_says_why(folder: Path) -> None:
    with pytest.raises(SiteFileError, match="heatpump") as refused:
        read_site(folder / "acacia-22")
    (problem,) = refused.value.problems
    assert problem.line is not None and "heat_pump" in str(problem)


@pytest.mark.parametrize("name", ["plenum.csv", "static.csv", "rooms.csv"])
def test_two_weeks_at_one_minute(folder: Path, name: str) -> None:
    for site in FLEET:
        rows = (folder / site.id / "exports" / name).read_bytes().count(b"\n")
        if site.trouble == "logger died" and name == "plenum.csv":
            assert 1_780 < rows <= 1_801  # 30 h and the header, and nothing after
        else:
            assert ROWS - 60 < rows < ROWS + 10, site.id


def test_a_folder_that_is_there_is_not_written_over(folder: Path) -> None:
    with pytest.raises(FileExistsError):
        unpack_fleet(folder)


def test_archives_hold_a_site_file_and_exports_and_no_truth() -> None:
    for site in FLEET:
        with lzma.open(HERE / "packed" / f"{site.id}.tar.xz") as whole:
            names = tarfile.open(fileobj=whole).getnames()
        assert names[0] == "site.toml"
        assert {n.split("/")[0] for n in names[1:]} == {"exports"}


def test_the_demo_ranks_what_can_be_read_and_names_what_cannot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One site of the fleet and a tiny one; all of it takes a minute."""
    monkeypatch.setattr("sample_data.unpack.fleet_sites", lambda: ["acacia-22"])
    monkeypatch.setattr(demo, "FLEET_JOBS", 1)
    there = unpack_fleet(tmp_path / "fleet")
    write_site(there / "ash", "ash", range(1))
    run_sample_fleet(click.Context(demo.command), there, "us", quiet=False)
    said = capsys.readouterr()
    assert "2 sites: 1 week judged" in said.out and "Could not be read: 1." in said.out
    assert "acacia-22" in said.err and "heatpump" in said.err
    assert (there / "report" / "index.html").is_file()


@pytest.mark.slow
@pytest.mark.parametrize("site", [BY_ID["rowan-9"], BY_ID["acacia-22"]], ids=lambda s: s.id)
def test_made_again_it_is_the_same_byte_for_byte(site: FleetSite, tmp_path: Path) -> None:
    there = unpack_fleet_site(site.id, tmp_path)
    files, told = contents(site)
    for name, text in files.items():
        assert (there / name).read_bytes() == text.encode("utf-8"), name
    assert json.loads((HERE / PLANTED).read_text(encoding="utf-8"))[site.id] == told
