"""The sample site: an invented house, its equipment as installed, its weather and its visits."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from sample_data.simulator import weather
from sample_data.simulator.house import (
    CLOSE_DAMPER,
    DOOR_OFF,
    NO_SERVICE,
    ORDER_G,
    ORDER_OB,
    ORDER_W1,
    ORDER_W2,
    ORDER_Y1,
    Record,
    simulate,
)
from sample_data.simulator.parameters import (
    Ducts,
    Fan,
    Heat,
    Panel,
    Rooms,
    System,
    Thermostats,
    density_ratio,
)

SEED = 19
SITE = "larch-14"
TIMEZONE = ZoneInfo("America/Denver")
ALTITUDE_FT = 5280.0
# The record starts eight hours before the first logger so that the house is in its stride.
START = datetime(2026, 1, 12, 6, tzinfo=TIMEZONE)
STOP = datetime(2026, 1, 20, 15, 40, tzinfo=TIMEZONE)
SECONDS = int((STOP - START).total_seconds())
ZONES = (1, 2, 3, 4)
START_F = (69.0, 69.0, 69.5, 66.0)
HOUR = 3600.0

SYSTEM = System(
    air_btuh_cfm_f=1.08 * density_ratio(ALTITUDE_FT),
    density=density_ratio(ALTITUDE_FT),
    rooms=Rooms(
        air_btu_f=(2900.0, 2500.0, 700.0, 1500.0),
        mass_btu_f=(6500.0, 5200.0, 1500.0, 9000.0),
        film_btuh_f=(3600.0, 3000.0, 1300.0, 2200.0),
        air_loss_btuh_f=(130.0, 110.0, 52.0, 110.0),
        mass_loss_btuh_f=(110.0, 90.0, 52.0, 110.0),
        ground_loss_btuh_f=(0.0, 0.0, 0.0, 80.0),
        ground_f=52.0,
        sun_btuh=(6000.0, 4000.0, 1800.0, 500.0),
        gain_btuh=(1900.0, 900.0, 300.0, 500.0),
        link_a=(0, 0, 1),
        link_b=(1, 3, 2),
        link_btuh_f=(300.0, 160.0, 40.0),
    ),
    thermostats=Thermostats(
        setpoint_f=(70.0, 69.5, 70.0, 66.0),
        setback_f=(64.5, 64.5, 65.0, 66.0),
        setback_from_s=(22 * HOUR, 22 * HOUR, 8.5 * HOUR, 0.0),
        setback_to_s=(6 * HOUR, 6 * HOUR, 20 * HOUR, 0.0),
        differential_f=(0.7, 0.7, 0.23, 0.8),
        anticipation_f=(0.8, 0.8, 0.8, 0.8),
        anticipation_s=(600.0, 600.0, 300.0, 600.0),
        sensor_s=150.0,
    ),
    ducts=Ducts(
        share=(0.34, 0.34, 0.10, 0.22),
        open_cfm=2900.0,
        leak=0.08,
        series_inwc=0.211,
        travel_s=60.0,
        loss=0.06,
        basement=3,
        plenum_ft3=25.0,
        return_ft3=40.0,
    ),
    fan=Fan(shutoff_inwc=1.173, fall_inwc=0.3995, low_speed=0.78, high_speed=1.0, spin_s=3.0),
    heat=Heat(
        first_btuh=41000.0,
        second_btuh=68000.0,
        ignition_s=45.0,
        burner_s=9.0,
        exchanger_btu_f=31.0,
        soak_btuh_f=25.0,
        own_limit_f=185.0,
        own_limit_back_f=140.0,
        compressor_17_btuh=17500.0,
        compressor_47_btuh=30000.0,
        compressor_cool_btuh=28000.0,
        compressor_s=75.0,
    ),
    panel=Panel(
        static_target_inwc=0.40,
        static_release_inwc=0.20,
        relief_wait_s=60.0,
        relief_most=1,  # planted: only ever one damper, whatever the static does
        relief_order=(3, 1, 0),
        high_limit_f=150.0,
        recover_f=20.0,
        recover_s=180.0,
        low_balance_f=38.0,
        stage_up_s=600.0,
        stage_up_zones=1,  # planted: the sheet in the panel says 2
        burner_min_off_s=60.0,
        compressor_min_off_s=300.0,
        purge_s=120.0,
        sensor_s=25.0,
        sensor_offset_f=-1.0,
        static_sensor_s=5.0,
    ),
)

# (hour of the week since Monday 00:00 local, °F)
OUTDOOR_KNOTS = (
    (0.0, 26.0), (6.5, 20.0), (14.5, 37.0), (18.0, 31.0), (24.0, 25.0),
    (30.5, 19.0), (38.5, 35.0), (42.0, 28.0), (48.0, 20.0),
    (54.5, 13.5), (62.5, 26.0), (66.0, 20.0), (72.0, 12.0),
    (78.5, 7.0), (86.5, 22.0), (90.0, 17.0), (96.0, 14.0),
    (102.5, 13.0), (110.5, 33.0), (114.0, 28.0), (120.0, 24.0),
    (126.5, 22.0), (134.5, 37.0), (138.0, 35.0), (144.0, 33.5),
    (150.0, 34.5), (152.5, 37.5), (155.0, 41.0), (158.5, 44.5), (162.0, 42.5), (166.5, 39.5),
    (169.0, 36.0), (174.5, 27.0), (182.5, 33.0), (187.0, 24.0), (192.0, 17.0),
    (198.5, 11.0), (207.0, 27.0), (212.0, 22.0),
)  # fmt: skip
CLEAR_BY_DAY = (0.75, 0.85, 0.6, 0.9, 0.85, 0.7, 0.35, 0.6, 0.8)


def second_of(local: str) -> int:
    """Seconds from START to `local`, such as "2026-01-12 14:25:00"."""
    at = datetime.fromisoformat(local).replace(tzinfo=TIMEZONE)
    return int((at - START).total_seconds())


def instant(second: int) -> datetime:
    """The local instant of a second of the record."""
    return START + timedelta(seconds=second)


def service_orders() -> NDArray[np.int64]:
    """The technician's hand on the panel during the two visits, per second of the record.

    First visit: doors off while probes go in, then every damper and every output once within
    15 min. Second visit: doors off while the probes come out.
    """
    orders = np.full(SECONDS, NO_SERVICE, dtype=np.int64)

    def order(day: int, start: str, end: str, bits: int) -> None:
        orders[second_of(f"2026-01-{day} {start}") : second_of(f"2026-01-{day} {end}")] = bits

    cooling = ORDER_G | ORDER_OB
    order(12, "13:58:00", "14:24:10", DOOR_OFF)
    order(12, "14:24:10", "14:25:40", ORDER_G)
    order(12, "14:25:40", "14:26:10", ORDER_G | 1 << CLOSE_DAMPER)
    order(12, "14:26:10", "14:26:40", ORDER_G | 2 << CLOSE_DAMPER)
    order(12, "14:26:40", "14:27:10", ORDER_G | 4 << CLOSE_DAMPER)
    order(12, "14:27:10", "14:27:40", ORDER_G | 8 << CLOSE_DAMPER)
    order(12, "14:27:40", "14:28:30", ORDER_G)
    order(12, "14:28:30", "14:30:50", ORDER_G | ORDER_W1)
    order(12, "14:30:50", "14:32:20", ORDER_G | ORDER_W1 | ORDER_W2)
    order(12, "14:32:20", "14:34:50", ORDER_G)
    order(12, "14:34:50", "14:35:05", cooling)
    order(12, "14:35:05", "14:37:10", cooling | ORDER_Y1)
    order(12, "14:37:10", "14:38:20", cooling)
    order(12, "14:38:20", "14:41:30", 0)
    order(20, "15:08:40", "15:40:00", DOOR_OFF)
    return orders


def record(seconds: int = SECONDS, use_numba: bool | None = None) -> Record:
    """What happens in the house from START on, for `seconds` seconds."""
    return simulate(
        SYSTEM,
        START.hour * 3600,
        outdoor(seconds),
        weather.sun(CLEAR_BY_DAY, START.hour * 3600, SECONDS, SEED + 1)[:seconds],
        weather.activity(START.hour * 3600, SECONDS)[:seconds],
        service_orders()[:seconds],
        START_F,
        use_numba,
    )


def outdoor(seconds: int = SECONDS) -> NDArray[np.float64]:
    """Outdoor air (°F) per second of the record."""
    from_start = [(hour - START.hour, value) for hour, value in OUTDOOR_KNOTS]
    return weather.outdoor_f(from_start, SECONDS, SEED)[:seconds]
