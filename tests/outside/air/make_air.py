"""Write altitude.csv and coil.csv beside this file: air by psychrolib 2.5.0 and CoolProp 8.0.0.

    python3 -m venv air && air/bin/pip install psychrolib==2.5.0 CoolProp==8.0.0
    air/bin/python tests/outside/air/make_air.py

In an environment of its own: psychrolib comes as source only. It (MIT) has the formulas of the
ASHRAE Handbook, Fundamentals 2017, chapter 1; CoolProp (MIT) is an equation of state for real air.
"""

import csv
from pathlib import Path
from typing import Any

import psychrolib
from CoolProp.CoolProp import PropsSI

PA_PER_PSI = 6894.757293168361
KG_M3_PER_LB_FT3 = 16.018463373960142
J_KGK_PER_BTU_LBF = 4186.8
ALTITUDES_FT = (0, 1000, 2000, 3000, 4000, 5000, 5280, 6000, 7000, 8000, 9000, 10000)
# 80 °F dry bulb and 67 °F wet bulb onto a coil, 57 °F at 95 % humidity off it
ENTERING_F, ENTERING_WET_F, LEAVING_F, LEAVING_RH = 80.0, 67.0, 57.0, 0.95


def kelvin(f: float) -> float:
    return (f + 459.67) / 1.8


def altitude_row(altitude_ft: float) -> dict[str, float]:
    psia = psychrolib.GetStandardAtmPressure(altitude_ft)
    at = ("T", kelvin(70.0), "P", psia * PA_PER_PSI, "Air")
    return {
        "altitude_ft": altitude_ft,
        "psia": round(psia, 5),
        "ideal_dry_70f_lb_ft3": round(psychrolib.GetDryAirDensity(70.0, psia), 7),
        "real_dry_70f_lb_ft3": round(PropsSI("D", *at) / KG_M3_PER_LB_FT3, 7),
        "real_dry_70f_btu_lb_f": round(PropsSI("C", *at) / J_KGK_PER_BTU_LBF, 6),
    }


def coil_row(altitude_ft: float) -> dict[str, float]:
    psia = psychrolib.GetStandardAtmPressure(altitude_ft)
    wet = psychrolib.GetHumRatioFromTWetBulb(ENTERING_F, ENTERING_WET_F, psia)
    dried = psychrolib.GetHumRatioFromRelHum(LEAVING_F, LEAVING_RH, psia)
    h_in = psychrolib.GetMoistAirEnthalpy(ENTERING_F, wet)
    return {
        "altitude_ft": altitude_ft,
        "entering_f": ENTERING_F,
        "leaving_f": LEAVING_F,
        "entering_ft3_lb": round(psychrolib.GetMoistAirVolume(ENTERING_F, wet, psia), 5),
        # all of the cooling, and of it what lowers the temperature at the leaving humidity
        "total_btu_lb": round(h_in - psychrolib.GetMoistAirEnthalpy(LEAVING_F, dried), 5),
        "sensible_btu_lb": round(
            psychrolib.GetMoistAirEnthalpy(ENTERING_F, dried)
            - psychrolib.GetMoistAirEnthalpy(LEAVING_F, dried),
            5,
        ),
    }


def write(name: str, rows: list[dict[str, Any]]) -> None:
    with Path(__file__).with_name(name).open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    psychrolib.SetUnitSystem(psychrolib.IP)
    write("altitude.csv", [altitude_row(ft) for ft in ALTITUDES_FT])
    write("coil.csv", [coil_row(ft) for ft in (0, 5280)])
