"""Write house.csv.gz beside this file: a gas-heated house minute by minute by ochre-nrel 0.9.2.

    python3 -m venv ochre && ochre/bin/pip install ochre-nrel==0.9.2 'pyarrow<20'
    ochre/bin/python tests/world/ochre/make_house.py

In an environment of its own, because it pins old numpy and pandas. The house, its schedule and the
weather are those the package ships as defaults: gas furnace and AC, Denver, eight January days.
"""

import datetime as dt
import gzip
import tempfile
from pathlib import Path

from ochre import Dwelling
from ochre.utils import default_input_path

COLUMNS = {
    "Temperature - Outdoor (C)": ("outdoor_c", 2),
    "Temperature - Indoor (C)": ("indoor_c", 3),
    "HVAC Heating Setpoint (C)": ("setpoint_c", 2),
    "HVAC Heating Mode": ("furnace_on", 0),
    "HVAC Heating Delivered (W)": ("delivered_w", 0),
    "HVAC Heating Capacity (W)": ("capacity_w", 0),
    "Gains": ("gains_w", 0),
    "Window Transmitted Solar Gain (W)": ("solar_w", 0),
}


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        dwelling = Dwelling(
            name="house",
            seed=1,
            start_time=dt.datetime(2018, 1, 15),
            time_res=dt.timedelta(minutes=1),
            duration=dt.timedelta(days=8),
            initialization_time=dt.timedelta(days=1),
            hpxml_file=f"{default_input_path}/Input Files/bldg0112631-up00.xml",
            hpxml_schedule_file=f"{default_input_path}/Input Files/bldg0112631_schedule.csv",
            weather_file=f"{default_input_path}/Weather/USA_CO_Denver.Intl.AP.725650_TMY3.epw",
            save_results=False,
            output_path=folder,
            verbosity=8,
            metrics_verbosity=8,
        )
        table, _, _ = dwelling.simulate()
    table["HVAC Heating Mode"] = (table["HVAC Heating Mode"] == "On").astype(int)
    # what it lists as gains of the indoor air: appliances and light, people
    table["Gains"] = table["Internal Heat Gain - Indoor (W)"]
    table = table[list(COLUMNS)].rename(columns={old: new for old, (new, _) in COLUMNS.items()})
    table = table.round({new: digits for new, digits in COLUMNS.values()})
    whole = [new for new, digits in COLUMNS.values() if digits == 0]
    table[whole] = table[whole].astype(int)
    table.insert(0, "minute", range(len(table)))
    text = table.to_csv(index=False, lineterminator="\n")
    path = Path(__file__).with_name("house.csv.gz")
    path.write_bytes(gzip.compress(text.encode(), compresslevel=9, mtime=0))


if __name__ == "__main__":
    main()
