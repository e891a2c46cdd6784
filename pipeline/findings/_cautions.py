"""The usual cautions, in one place: findings name those that their subject calls for.

Wording is ours; common practice without a source except where one is named. They defer to local
codes, the equipment's own instructions and licensed practice.
"""

LIMIT = (
    "Do not raise, jumper, bypass or replace a limit with a hotter one to keep the system "
    "running: find why the air got that hot. Repeated limit trips stress the heat exchanger."
)
OWN_LIMIT = (
    "Do not bypass or jumper the furnace's own limit, a pressure switch, a rollout switch or a "
    "float switch, and do not reset a lockout again and again."
)
HEAT_OFF = (
    "Leave heat off at the unit until a qualified technician has checked it, where the people and "
    "the pipes in the house can be kept warm another way; where they cannot, have it checked "
    "today. Nobody keeps it running by changing a limit."
)
NO_HEAT = (
    "No heat in freezing weather: phone the same day. People first (the old, the ill, infants), "
    "then the pipes; ask how the house can be kept warm until it is mended."
)
CARBON_MONOXIDE = (
    "Gas heat: have a qualified technician check combustion, carbon monoxide and the heat "
    "exchanger to the local code. If a CO alarm sounds or flame shows outside the burners, "
    "leave the building and call the emergency services."
)
GAS = (
    "Gas input, manifold pressure, orifices and venting are licensed work under the local fuel-gas "
    "code and the equipment's own instructions."
)
REPRODUCE = (
    "If you force one zone on second stage to see the trip, stay at the unit and stop at the "
    "panel's limit or at the plate's highest outlet temperature, whichever comes first."
)
WATCHED = (
    "stay at the unit; end the call at the panel's limit or at the plate's maximum outlet "
    "temperature, whichever comes first"
)
"""Stands inside every step that brings second stage on with one zone."""
REFRIGERANT = (
    "Refrigerant side last, and only by a certified technician (in the US: EPA section 608, "
    "40 CFR 82.161). Some refrigerants burn: read the plate, keep ignition sources away."
)
ICE = (
    "If the coil is iced: compressor off, fan on, protect the ceiling from melt water. No "
    "chipping, no heat gun. Do not test-run cooling in cold weather unless the equipment allows it."
)
LOW_LIMIT = (
    "Do not lower, jumper or bypass the low limit: it keeps the coil from freezing and liquid "
    "from reaching the compressor."
)
ELECTRICITY = (
    "Isolate and verify before opening anything at line voltage; capacitors hold their charge. "
    "A slip on the 24 V side can still destroy a board."
)
CODES_FIRST = "Read and photograph fault codes before switching power off."
RELIEF = (
    "Do not disconnect relief dampers, wedge dampers or block registers to quieten the ducts. Set "
    "blower speed only within the rating plate and check the temperature rise after any change."
)
SETTINGS = (
    "Change settings by the panel's and the equipment's own instructions and write down the old "
    "value; a setting that saves the equipment is changed only in the safer direction."
)
SYMPTOMS = "A log shows symptoms, not causes: confirm at the equipment before anything is changed."
CLEAN_LOG = (
    "A clean log is not a safety check: nothing here measures carbon monoxide, gas leaks, venting "
    "or wiring."
)
