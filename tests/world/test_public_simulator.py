"""The world's house and the tool's counts against a house of a public residential simulator.

Source of the other side: `ochre-nrel` 0.9.2 (BSD-3), eight January days of its shipped house with a
gas furnace, minute by minute; ochre/make_house.py has the command. Its house has ground, attic,
garage, wind and every wall's layers; ours has two masses. UA and masses are fitted on its first day
alone (the readings of furnace heat, gains and weather given), and the seven days after it are run
with our own thermostat, burner, blower and duct from the same weather.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pipeline.review import review_site
from sample_data.world.loop import NO_SERVICE, Drive, Record, simulate
from sample_data.world.parts import Branch, Plant, Zone, density_ratio

DAY_MIN = 1440
BTUH_PER_W = 3.412142
J_PER_BTU = 1055.056
Values = NDArray[np.float64]


@pytest.fixture(scope="module")
def house() -> pd.DataFrame:
    return pd.read_csv(Path(__file__).parent / "ochre" / "house.csv.gz")


def two_masses(numbers: Values, day: pd.DataFrame) -> Values:
    """Air (°C) per minute of two masses heated as the readings say.

    `numbers`: logs of air and envelope (J/K), film, loss of air and of envelope (W/K), envelope's
    first temperature (°C), share of the windows' sun that counts (walls get sun as well).
    """
    air_j, mass_j, film, air_loss, mass_loss, mass, sun = np.exp(numbers)
    air = float(day["indoor_c"].iloc[0])
    heat = day["delivered_w"] + day["gains_w"] + 0.5 * sun * day["solar_w"]
    shone = 0.5 * sun * day["solar_w"]
    found = []
    for out_c, into_air, into_mass in zip(day["outdoor_c"], heat, shone, strict=True):
        found.append(air)
        exchanged = film * (mass - air)
        air, mass = (
            air + 60 / air_j * (exchanged - air_loss * (air - out_c) + into_air),
            mass + 60 / mass_j * (-exchanged - mass_loss * (mass - out_c) + into_mass),
        )
    return np.array(found)


@pytest.fixture(scope="module")
def fitted(house: pd.DataFrame) -> Values:
    """What two_masses takes, from the first day."""
    day = house[:DAY_MIN]
    start = np.log([2e6, 2e7, 800.0, 100.0, 50.0, 19.5, 1.0])
    fit = least_squares(
        lambda numbers: two_masses(numbers, day) - day["indoor_c"].to_numpy(), start, max_nfev=60
    )
    return np.asarray(fit.x)


def test_two_masses_follow_its_first_day(house: pd.DataFrame, fitted: Values) -> None:
    """0.1 °C over a swing of 1 °C; the house loses 100-400 W/K, as a small dwelling does (common
    practice, no source), and stores more in its envelope than in its air."""
    day = house[:DAY_MIN]
    assert np.std(two_masses(fitted, day) - day["indoor_c"]) < 0.1
    air_j, mass_j, _, air_loss, mass_loss, _, _ = np.exp(fitted)
    assert 100 < air_loss + mass_loss < 400
    assert mass_j > 2 * air_j


def our_house(house: pd.DataFrame, fitted: Values, plant: Plant) -> Record:
    """Our one-zone house in its weather, a warm-up day before it (the first day once more).

    Its thermostat switches on 0.8 °C under and off 0.2 °C over its setpoint (deadband 1 °C, offset
    0.2, in its source): ours has 0.3 °C less and a differential of 1.8 °F. Its delivered heat is
    what its ducts (in a crawl space) leave of furnace and fan, so our ducts lose nothing.
    """
    air_j, mass_j, film, air_loss, mass_loss, _, sun = np.exp(fitted)
    per_f = BTUH_PER_W / 1.8
    target_f = 1.8 * (float(house["setpoint_c"].iloc[0]) - 0.3) + 32.0
    zone = Zone(
        air_btu_f=air_j / J_PER_BTU / 1.8,
        mass_btu_f=mass_j / J_PER_BTU / 1.8,
        film_btuh_f=film * per_f,
        air_loss_btuh_f=air_loss * per_f,
        mass_loss_btuh_f=mass_loss * per_f,
        sun_btuh=sun,
        gain_btuh=1.0,
        heat_f=target_f,
        heat_back_f=target_f,
        differential_f=1.8,
        sensor_s=1.0,
    )

    def per_second(column: str) -> Values:
        minutes = house[column].to_numpy(float)
        return np.repeat(np.concatenate([minutes[:DAY_MIN], minutes]), 60)

    outdoor_f = 1.8 * per_second("outdoor_c") + 32.0
    none = np.zeros(len(outdoor_f), dtype=np.int64)
    driven = Drive(
        0,
        outdoor_f,
        per_second("solar_w") * BTUH_PER_W,
        per_second("gains_w") * BTUH_PER_W,
        none + NO_SERVICE,
        none,
    )
    return simulate(plant, [zone], [Branch(share=1.0)], driven)


def like_plant(house: pd.DataFrame) -> Plant:
    """Our furnace with its heat, at its altitude."""
    ratio = density_ratio(5280.0)
    delivered_w = float(house.loc[house["furnace_on"] == 1, "delivered_w"].mean())
    return Plant(
        air_btuh_cfm_f=1.08 * ratio,
        density=ratio,
        heats=0.0,
        compressor=0.0,
        stage2_zones=1.0,
        heat1_btuh=delivered_w * BTUH_PER_W,
        duct_loss=0.0,
    )


def at_once(plant: Plant) -> Plant:
    """The furnace as the other simulator has it: heat in the room exactly while it is called."""
    return replace(plant, ignition_s=1.0, burner_s=1.0, fan_on_delay_s=0.0, fan_off_delay_s=0.0,
                   purge_s=0.0, exchanger_btu_f=2.0, soak_btuh_f=0.0, burner_min_off_s=0.0,
                   plenum_ft3=1.0, return_ft3=1.0)  # fmt: skip


def by_day(house: pd.DataFrame, record: Record) -> pd.DataFrame:
    """Per day after the fitted one: share of time with fire, starts, 5 % and 95 % of indoor air
    (°C) of both, outdoors (°C)."""
    rows = []
    flame, call = record.flag("flame"), record.flag("heat_0")
    air_c = (record.signal("zone_0_f") - 32.0) / 1.8
    for day in range(1, len(house) // DAY_MIN):
        theirs = house[day * DAY_MIN : (day + 1) * DAY_MIN]
        ours = slice((day + 1) * 86400, (day + 2) * 86400)
        on = theirs["furnace_on"].to_numpy()
        rows.append(
            {
                "outdoor_c": theirs["outdoor_c"].mean(),
                "their_share": on.mean(),
                "our_share": flame[ours].mean(),
                "their_starts": (np.diff(on) > 0).sum(),
                "our_starts": (np.diff(call[ours].astype(int)) > 0).sum(),
                "their_low": theirs["indoor_c"].quantile(0.05),
                "our_low": np.quantile(air_c[ours], 0.05),
                "their_high": theirs["indoor_c"].quantile(0.95),
                "our_high": np.quantile(air_c[ours], 0.95),
            }
        )
    return pd.DataFrame(rows)


@pytest.fixture(scope="module")
def days(house: pd.DataFrame, fitted: Values) -> pd.DataFrame:
    return by_day(house, our_house(house, fitted, like_plant(house)))


@pytest.fixture(scope="module")
def days_at_once(house: pd.DataFrame, fitted: Values) -> pd.DataFrame:
    return by_day(house, our_house(house, fitted, at_once(like_plant(house))))


def test_runtime_against_outdoors(days: pd.DataFrame) -> None:
    """Stated difference: 0.03 of the day on each day and 0.01 over the week, because its
    infiltration goes with the wind and its walls take sun that ours do not see; what a colder
    degree adds (slope of share over outdoors) within a fifth."""
    off = days["our_share"] - days["their_share"]
    assert off.abs().max() < 0.03
    assert abs(off.mean()) < 0.01
    ours, theirs = (
        np.polyfit(days["outdoor_c"], days[share], 1)[0] for share in ("our_share", "their_share")
    )
    assert theirs < 0
    assert ours == pytest.approx(theirs, rel=0.2)


def test_band_of_indoor_air(days: pd.DataFrame) -> None:
    """Stated difference: 0.15 °C at either end, because our furnace lights 40 s late and blows its
    stored heat out after the call. On the two sunny days over 5 °C the house drifts above its
    thermostat's band, by sun that our windows alone bring: 0.5 °C."""
    assert (days["our_low"] - days["their_low"]).abs().max() < 0.15
    heated = days[days["their_high"] < 21.0]
    assert len(heated) == 5
    assert (heated["our_high"] - heated["their_high"]).abs().max() < 0.15
    assert (days["our_high"] - days["their_high"]).abs().max() < 0.5


def starts_at_like_runtime(days: pd.DataFrame, whose: str) -> pd.Series[float]:
    """Starts an hour over 4 X (1 - X): the same at any runtime for one thermostat and house."""
    share = days[f"{whose}_share"]
    found: pd.Series[float] = days[f"{whose}_starts"] / 24 / (4 * share * (1 - share))
    return found


def test_cycles_at_like_runtime(days: pd.DataFrame, days_at_once: pd.DataFrame) -> None:
    """Stated difference: 5 % of the week's starts at like runtime, and two starts on any day, with
    heat at once as there; there a start waits for the full minute. With our own ignition, stored
    heat and blower delay cycles are longer: fewer starts, by no more than a third."""
    assert (days_at_once["our_starts"] - days["their_starts"]).abs().max() <= 2
    theirs = starts_at_like_runtime(days, "their").mean()
    assert starts_at_like_runtime(days_at_once, "our").mean() == pytest.approx(theirs, rel=0.05)
    own = starts_at_like_runtime(days, "our").mean()
    assert 0.67 * theirs < own < theirs


SITE = """[site]
id = "house"
timezone = "America/Denver"

[equipment]
kind = "furnace"
heating_stages = 1

[[zone]]
number = 1
name = "House"

[[export]]
files = "exports/house.csv"
kind = "sampled"
"""


def test_the_tools_counts_on_its_log(house: pd.DataFrame, tmp_path: Path) -> None:
    """The tool's runtime and starts on its log, against a count of the file's own column.

    A reading holds until the next, so n readings of 1 are n minutes; starts are 0 followed by 1
    (the first reading is 0).
    """
    at = pd.Timestamp("2018-01-15") + pd.to_timedelta(house["minute"], unit="min")
    table = pd.DataFrame(
        {
            "Time": at.dt.strftime("%Y-%m-%d %H:%M:%S"),
            "Furnace": house["furnace_on"].map({0: "off", 1: "on"}),
            "Indoor (°C)": house["indoor_c"],
            "Outdoor (°C)": house["outdoor_c"],
        }
    )
    (tmp_path / "exports").mkdir()
    table.to_csv(tmp_path / "exports" / "house.csv", index=False)
    channels = (
        ("Furnace", "output_w1", ""),
        ("Indoor (°C)", "zone_temp", 'zone = 1\nunit = "degC"\n'),
        ("Outdoor (°C)", "outdoor_temp", 'unit = "degC"\n'),
    )
    text = SITE + "".join(
        f'\n[[channel]]\nfile = "exports/house.csv"\ncolumn = "{column}"\nrole = "{role}"\n{more}'
        for column, role, more in channels
    )
    (tmp_path / "site.toml").write_text(text, encoding="utf-8")
    frames = review_site(tmp_path).result.frames
    on = house["furnace_on"].tolist()
    assert on[0] == on[-1] == 0
    runtime = frames["measure.runtime"]
    (row,) = runtime[runtime["output"] == "output_w1"].to_dict("records")
    assert row["on_s"] == 60 * sum(on)
    starts = sum(a == 0 and b == 1 for a, b in pairwise(on))
    assert row["n_start"] == starts
    assert frames["measure.cycle"]["n_start_all"].sum() == starts
