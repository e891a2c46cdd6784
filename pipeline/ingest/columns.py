"""Header texts to role, unit and zone, each with how sure that is and why."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.thresholds import THRESHOLDS
from pipeline.units import UNITS

# From this confidence on a guess is taken without asking; below it a person must confirm.
SURE = THRESHOLDS["guess_sure_share"].value

_UNIT_WORDS = {
    "degF": ("°f", "degf", "deg f", "deg. f", "℉", "f", "fahrenheit"),
    "degC": ("°c", "degc", "deg c", "deg. c", "℃", "c", "celsius"),
    "K": ("k", "kelvin"),
    "inwc": (
        "in. w.c.",
        "in w.c.",
        "in wc",
        "inwc",
        "in.w.c.",
        "in. wc",
        "inh2o",
        "in h2o",
        "in. h2o",
        "iwc",
        '"wc',
        '" wc',
        '" w.c.',
        "inches w.c.",
        "in. w.c",
    ),
    "Pa": ("pa", "pascal", "pascals"),
    "kPa": ("kpa",),
    "mbar": ("mbar", "hpa"),
    "mmH2O": ("mmh2o", "mm h2o", "mm w.c.", "mm wc"),
    "psi": ("psi",),
    "percent": ("%", "% rh", "%rh", "percent", "pct"),
    "V": ("v", "vac", "vdc", "volt", "volts"),
    "A": ("a", "amp", "amps"),
}
_UNIT_OF = {word: unit for unit, words in _UNIT_WORDS.items() for word in words}
# Letters that are units only where something sets them apart from the name.
_SHORT = frozenset({"f", "c", "k", "v", "a"})
# Names behind which a lone F or C can only be a unit.
_TEMPERATURE_WORDS = re.compile(
    r"(?i)(?<![a-z])(supply|return|outdoor|outside|temp|temperature|air|sat|rat|oat|room|plenum)"
    r"(?![a-z])"
)
# What a temperature may be called that is none of the air it names: somebody set it, or computed.
_NOT_MEASURED = re.compile(
    r"\b(set ?points?|setting|set|sp|stpt|target|limit|lockout|balance|cut ?out|alarm|min|max|"
    r"minimum|maximum|std|dev|deviation|diff|difference|delta|rise|split|drop|rate|error|offset|"
    r"forecast|average of|calc|calculated|dew ?point|wet ?bulb)\b"
)
# Words beside a zone's number that leave its temperature what it is.
_ROOM_WORDS = re.compile(
    r"\b(temp|temps|temperature|air|room|space|sensor|probe|thermostat|tstat|stat|actual|indoor|"
    r"wall|hall|hallway|bed|bedroom|living|main|floor|up|upstairs|down|downstairs|upper|lower|"
    r"basement|den|study|office|guest|kitchen|master|north|south|east|west|loft|attic|garage|family|"
    r"dining|f|c|deg|degf|degc|t|the|of|in|and|logger|reading|value|mean|avg|average)\b"
)
_HEAT = r"\b(?:heat|heating|htg|ht)\b"
_COOL = r"\b(?:cool|cooling|clg|cl)\b"
_SET = r"\b(?:set ?points?|setting|set|sp|stpt|target)\b"
_HEAT_SET = rf"{_HEAT}.*{_SET}|{_SET}.*{_HEAT}"
_COOL_SET = rf"{_COOL}.*{_SET}|{_SET}.*{_COOL}"


@dataclass(frozen=True)
class ColumnGuess:
    """What a column is taken for: role None means nothing fits. confidence 0 to 1."""

    role: str | None
    zone: int | None
    unit: str | None
    confidence: float
    reason: str


def unit_of(text: str) -> str | None:
    """The unit that a text such as '°F' or 'in. w.c.' names; None if it names none."""
    word = re.sub(r"\s+", " ", text.strip().lower())
    return _UNIT_OF.get(word)


def split_header(header: str) -> tuple[str, str | None]:
    """Name and unit of a header text: 'Supply air (°F)' is ('Supply air', 'degF')."""
    for pattern in (
        r"^(.*?)\s*\(([^()]*)\)\s*$",
        r"^(.*?)\s*\[([^\[\]]*)\]\s*$",
        r"^(.*?)\s*[,/;]\s*([^,/;]+)$",
    ):
        match = re.match(pattern, header)
        if match and (unit := unit_of(match.group(2))):
            return match.group(1), unit
    inner = re.search(r"[(\[]\s*([^()\[\]]*?)\s*[)\]]", header)
    if inner and (unit := unit_of(inner.group(1))):
        return (header[: inner.start()] + header[inner.end() :]).strip(), unit
    short = re.fullmatch(r"(.*[A-Za-z\d])[ _.-](F|C)", header.strip())
    if short and _TEMPERATURE_WORDS.search(short.group(1)):
        return short.group(1), "deg" + short.group(2)
    words = re.split(r"[\s_]+", header.strip())
    for count in (3, 2, 1):
        if len(words) > count:
            tail = " ".join(words[-count:])
            if tail.lower() not in _SHORT and (unit := unit_of(tail)):
                return " ".join(words[:-count]), unit
    return header.strip(), None


_PATTERNS: tuple[tuple[str, str, float], ...] = (
    # role, pattern on the lower-case name, confidence. The first that fits is taken.
    ("return_static", r"\breturn\b.*\b(static|pressure)\b|\b(static|pressure)\b.*\breturn\b", 0.9),
    (
        "static_pressure",
        r"\bstatic\b|\bduct pressure\b|\bsupply pressure\b|\bplenum pressure\b",
        0.9,
    ),
    ("return_rh", r"\breturn\b.*\b(rh|humidity)\b", 0.9),
    ("zone_heat_setpoint", _HEAT_SET, 0.9),
    ("zone_cool_setpoint", _COOL_SET, 0.9),
    ("zone_damper", r"\bdamper\b|\bdmpr\b", 0.9),
    ("fault_contact", r"\bfault\b|\balarm\b|\btrouble\b", 0.9),
    ("float_switch", r"\bfloat\b|\bcondensate\b", 0.9),
    ("equipment_limit", r"\blimit\b", 0.6),
    ("gas_valve", r"\bgas valve\b|\bgv\b", 0.9),
    ("flame", r"\bflame\b", 0.9),
    ("outdoor_fan_run", r"\b(outdoor|condenser) fan\b", 0.9),
    ("compressor_run", r"\bcompressor\b|\bcontactor\b", 0.9),
    ("blower_run", r"\bblower\b|\bfan (run|current|amps|proof|motor)\b", 0.9),
    ("ventilator", r"\bventilator\b|\berv\b|\bfresh air\b", 0.9),
    ("occupied", r"\boccup", 0.9),
    ("mixed_temp", r"\bmixed\b", 0.9),
    ("outdoor_temp", r"\boutdoor|\boutside|\boat\b|\boa temp|\bambient outdoor", 0.95),
    ("return_temp", r"\breturn\b|\brat\b", 0.9),
    ("supply_temp", r"\bsupply\b|\bsat\b|\bdischarge\b|\bleaving air\b|\bplenum\b", 0.9),
)
_TERMINALS = {
    "w1": "w1",
    "w2": "w2",
    "y1": "y1",
    "y2": "y2",
    "g": "g",
    "ob": "ob",
    "o/b": "ob",
    "o": "ob",
    "b": "ob",
    "aux": "aux",
    "w": "w1",
    "y": "y1",
    "fan": "g",
}
_TERMINAL = r"(?<![a-z0-9])(w1|w2|y1|y2|o/b|ob|aux|fan|g|w|y|o|b)(?![a-z0-9])"
_ZONE = r"\b(?:zone|zn|z)\s*[#-]?\s*0?(\d{1,2})[a-d]?\b"
_COUNTERS = frozenset({"#", "no", "nr", "row", "rec", "record", "index", "sample no", "line", "id"})
_DIMENSION = {
    "supply_temp": "temperature",
    "return_temp": "temperature",
    "outdoor_temp": "temperature",
    "mixed_temp": "temperature",
    "static_pressure": "pressure",
    "return_static": "pressure",
    "return_rh": "humidity",
    "zone_heat_setpoint": "temperature",
    "zone_cool_setpoint": "temperature",
}


def guess_column(
    header: str, is_state: bool, zone_names: dict[str, int] | None = None
) -> ColumnGuess:
    """What a column is, by its header and by whether its cells are states or numbers.

    zone_names : lower-case names of zones known from a site file, with their numbers
    """
    name, unit = split_header(header)
    plain = re.sub(r"[_\-.:]+", " ", name.lower())
    plain = re.sub(r"\s+", " ", plain).strip()
    zone, zone_reason = _zone(plain, zone_names or {})
    dimension = UNITS[unit].dimension if unit else None
    if zone is not None:
        return _zone_column(plain, zone, zone_reason, unit, dimension, is_state)
    for role, pattern, confidence in _PATTERNS:
        found = re.search(pattern, plain)
        if not found:
            continue
        wanted = _DIMENSION.get(role)
        if wanted is not None and (is_state or (dimension and dimension != wanted)):
            continue
        other = _NOT_MEASURED.search(plain)
        if wanted is not None and other and "setpoint" not in role:
            why = f"'{found.group()}', but '{other.group()}' too: not what was measured?"
            return ColumnGuess(role, None, unit, 0.4, why)
        if role.startswith("zone_"):
            return ColumnGuess(role, None, unit, 0.4, f"'{found.group()}', but no zone number")
        if wanted is not None and unit is None:
            return ColumnGuess(role, None, None, 0.5, f"'{found.group()}', but no unit")
        if wanted is None and not is_state:
            return ColumnGuess(
                role, None, unit, 0.5, f"'{found.group()}', but its cells are numbers"
            )
        return ColumnGuess(role, None, unit, confidence, f"'{found.group()}' in its name")
    if plain in _COUNTERS and not is_state:
        return ColumnGuess("ignore", None, None, 0.9, "a number of the row")
    terminal = re.search(_TERMINAL, re.sub(r"\(.*?\)|\[.*?\]", " ", plain))
    if terminal and not is_state and dimension not in ("temperature", "pressure", "humidity"):
        role = "output_" + _TERMINALS[terminal.group(1)]
        why = f"terminal {terminal.group(1).upper()}, but its cells are numbers"
        return ColumnGuess(role, None, unit, 0.4, why)
    if terminal and is_state:
        role = "output_" + _TERMINALS[terminal.group(1)]
        is_output = re.search(r"\b(out|output|panel|equip|relay|terminal|to unit)", plain)
        bare = plain == terminal.group(1)
        confidence = 0.9 if is_output and terminal.group(1) not in ("o", "b", "fan") else 0.7
        confidence = 0.6 if bare else confidence
        return ColumnGuess(role, None, None, confidence, f"terminal {terminal.group(1).upper()}")
    if dimension == "pressure":
        return ColumnGuess("static_pressure", None, unit, 0.5, "a pressure of an unknown place")
    if is_state and re.search(r"\bburner\b", plain):
        return ColumnGuess("flame", None, None, 0.5, "'burner': its valve, or its flame?")
    if dimension == "temperature":
        return ColumnGuess("zone_temp", None, unit, 0.4, "a temperature of an unknown place")
    return ColumnGuess(None, None, unit, 0.0, "nothing in its name is known")


def _zone(plain: str, zone_names: dict[str, int]) -> tuple[int | None, str]:
    match = re.search(_ZONE, plain)
    if match:
        return int(match.group(1)), f"zone {match.group(1)} in its name"
    for name, number in sorted(zone_names.items(), key=lambda item: -len(item[0])):
        if re.search(rf"\b{re.escape(name)}\b", plain):
            return number, f"zone {number} is called '{name}'"
    return None, ""


def _zone_column(
    plain: str, zone: int, reason: str, unit: str | None, dimension: str | None, is_state: bool
) -> ColumnGuess:
    def guess(role: str, confidence: float, why: str) -> ColumnGuess:
        return ColumnGuess(role, zone, unit, confidence, f"{reason}; {why}")

    rest = re.sub(_ZONE, " ", plain)
    if re.search(r"\bdamper\b|\bdmpr\b", rest):
        return guess("zone_damper", 0.95 if is_state else 0.5, "'damper'")
    if not is_state:
        if re.search(_HEAT_SET, rest):
            return guess("zone_heat_setpoint", 0.95 if unit else 0.5, "a heat setpoint")
        if re.search(_COOL_SET, rest):
            return guess("zone_cool_setpoint", 0.95 if unit else 0.5, "a cool setpoint")
        if re.search(_SET, rest):
            return guess("zone_heat_setpoint", 0.4, "a setpoint, heat or cool not said")
        if dimension == "humidity" or re.search(r"\brh\b|humid", rest):
            return guess("zone_rh", 0.9 if unit else 0.5, "humidity")
        if dimension == "temperature":
            left = re.sub(r"[^a-z]+", " ", _ROOM_WORDS.sub(" ", rest)).strip()
            if left:
                return guess("zone_temp", 0.6, f"a temperature, but of what is '{left}'?")
            return guess("zone_temp", 0.95, "a temperature")
        if re.search(r"\btemp", rest):
            return guess("zone_temp", 0.5, "a temperature without a unit")
        return ColumnGuess(None, zone, unit, 0.0, f"{reason}; nothing else is known")
    if re.search(r"\bemergency\b|\bem heat\b", rest):
        return guess("zone_call_emergency", 0.9, "emergency heat")
    terminal = re.search(_TERMINAL, rest)
    if terminal:
        role = "zone_call_" + _TERMINALS[terminal.group(1)]
        exact = terminal.group(1) not in ("o", "b", "fan")
        return guess(role, 0.95 if exact else 0.7, f"terminal {terminal.group(1).upper()}")
    if re.search(r"\bheat\b", rest):
        return guess("zone_call_w1", 0.7, "a heat call, terminal not said")
    if re.search(r"\bcool\b", rest):
        return guess("zone_call_y1", 0.7, "a cool call, terminal not said")
    if re.search(r"\bcall\b|\bdemand\b", rest):
        return guess("zone_call_w1", 0.4, "a call, heat or cool not said")
    return ColumnGuess(None, zone, None, 0.0, f"{reason}; nothing else is known")
