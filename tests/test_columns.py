"""Header texts to role, unit and zone: right, or not sure, never confidently wrong."""

from __future__ import annotations

import pytest

from pipeline.ingest.columns import SURE, guess_column, split_header


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [
        ("Supply air (°F)", "Supply air", "degF"),
        ("Supply air [°C]", "Supply air", "degC"),
        ("Temp, °C", "Temp", "degC"),
        ("Static pressure in. w.c.", "Static pressure", "inwc"),
        ("Duct static (in w.c.)", "Duct static", "inwc"),
        ("static_Pa", "static", "Pa"),
        ("Room RH (%)", "Room RH", "percent"),
        ("Bedroom (north)", "Bedroom (north)", None),
        ("Supply (°F) trunk", "Supply  trunk", "degF"),
        ("Zone C", "Zone C", None),
        ("W1", "W1", None),
    ],
)
def test_units_are_read_off_the_header(header: str, name: str, unit: str | None) -> None:
    found, found_unit = split_header(header)
    assert (found.split(), found_unit) == (name.split(), unit)


@pytest.mark.parametrize(
    ("header", "is_state", "role", "zone"),
    [
        ("Supply air (°F)", False, "supply_temp", None),
        ("SAT °F", False, "supply_temp", None),
        ("Return Air Temp (°C)", False, "return_temp", None),
        ("Outdoor (°F)", False, "outdoor_temp", None),
        ("Duct static (in. w.c.)", False, "static_pressure", None),
        ("Return static (Pa)", False, "return_static", None),
        ("Zone 3 temp (°F)", False, "zone_temp", 3),
        ("Z2 heat setpoint (°F)", False, "zone_heat_setpoint", 2),
        ("Zone 2 W1 call", True, "zone_call_w1", 2),
        ("Z4 Y1", True, "zone_call_y1", 4),
        ("Z1 damper", True, "zone_damper", 1),
        ("zone_4_g", True, "zone_call_g", 4),
        ("W2 out", True, "output_w2", None),
        ("Panel Y1", True, "output_y1", None),
        ("Fault contact", True, "fault_contact", None),
        ("Gas valve", True, "gas_valve", None),
        ("Blower running", True, "blower_run", None),
    ],
)
def test_what_the_name_says_is_taken(
    header: str, is_state: bool, role: str, zone: int | None
) -> None:
    guess = guess_column(header, is_state)
    assert (guess.role, guess.zone) == (role, zone)
    assert guess.confidence >= SURE and guess.reason


@pytest.mark.parametrize(
    ("header", "is_state"),
    [
        ("Z1 call", True),  # heat or cool is not said
        ("W1", True),  # a zone's or the panel's is not said
        ("Bedroom (°F)", False),  # no zone number
        ("Supply air", False),  # no unit
        ("Channel 1", False),
        ("Channel 1", True),
        ("Supply air (°F)", True),  # a temperature whose cells are states
        ("Zone 2 setpoint (°F)", False),  # heat or cool is not said
        ("Limit", True),  # the panel's or the furnace's is not said
        ("Notes", False),
    ],
)
def test_what_the_name_leaves_open_is_not_sure(header: str, is_state: bool) -> None:
    assert guess_column(header, is_state).confidence < SURE


def test_a_zone_is_known_by_the_name_that_the_site_file_gives_it() -> None:
    guess = guess_column("Garage bedroom (°F)", False, {"garage bedroom": 3, "bedroom": 2})
    assert (guess.role, guess.zone) == ("zone_temp", 3)
    assert guess.confidence >= SURE


# Names that speak of something else than the role whose word stands in them, or of more than one.
TRAPS = (
    *("Supply air setpoint (°F)", "Supply high limit (°F)", "Supply - return difference (°F)"),
    *("Zone 1 supply temp (°F)", "Zone 2 discharge air (°F)", "Zone 1 slab (°F)"),
    *("Outdoor lockout (°F)", "Return air min (°F)", "Outdoor wet bulb (°F)", "Supply max (°C)"),
    *("Zone 1 setpoint (°F)", "Heat setpoint (°F)", "Zone 3 water temp (°C)", "Coil out (°F)"),
    *("Zone 4 floor surface (°F)", "Balance point (°F)", "Rise (°F)", "Temp 1 (°F)"),
    *("Static", "Pressure (Pa)", "Filter drop (Pa)", "Battery (V)", "RH (%)", "Dew point (°F)"),
    *("Zone 1 outdoor (°F)", "Duct 2 (°F)", "Supply fan speed (%)", "Return damper (%)"),
)


@pytest.mark.parametrize("header", TRAPS)
def test_a_number_that_is_something_else_is_never_taken_for_sure(header: str) -> None:
    assert guess_column(header, False).confidence < SURE


STATE_TRAPS = (
    *("Call", "Zone 1 fan", "Zone B", "O", "Zone 2 status", "Relay 3", "Heat", "Cool", "Limit"),
    *("Button", "Host connected", "Stopped", "Zone 1 B", "Pump", "Zone 3 occupied call"),
)


@pytest.mark.parametrize("header", STATE_TRAPS)
def test_a_state_that_may_be_several_things_is_never_taken_for_sure(header: str) -> None:
    assert guess_column(header, True).confidence < SURE


@pytest.mark.parametrize(
    ("header", "is_state", "role", "zone"),
    [
        ("Zone 2 heat set (°F)", False, "zone_heat_setpoint", 2),
        ("Z3 cool SP °F", False, "zone_cool_setpoint", 3),
        ("Clg Setpoint Zone 1 (°C)", False, "zone_cool_setpoint", 1),
        ("Z1 W", True, "zone_call_w1", 1),
        ("Zone 6 Y", True, "zone_call_y1", 6),
        ("Z2a damper", True, "zone_damper", 2),
        ("Zone 5 Master Bedroom Temp (°F)", False, "zone_temp", 5),
        ("AUX out", True, "output_aux", None),
        ("Supply_temp_F", False, "supply_temp", None),
        ("OAT C", False, "outdoor_temp", None),
        ("RAT [°F]", False, "return_temp", None),
        ("Trunk static, in. w.c.", False, "static_pressure", None),
        ("#", False, "ignore", None),
    ],
)
def test_usual_names_are_taken(header: str, is_state: bool, role: str, zone: int | None) -> None:
    guess = guess_column(header, is_state)
    assert (guess.role, guess.zone) == (role, zone)
    assert guess.confidence >= SURE, guess.reason
