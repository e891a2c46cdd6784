"""Which first cause is right for what was planted, as a pattern of its text: condition, finding.

Only where the log can show it: a condition that several causes explain alike is left out.
"""

FIRST_CAUSE: dict[str, dict[str, str]] = {
    "second stage for one zone": {
        "high-limit-trips": "second stage",
        "second-stage-too-few-zones": "minimum|setting",
    },
    "return side clogged": {
        "high-limit-trips": "filter|coil|return|blower|altogether",
        "rise-outside-plate": "filter|altogether",
        "airflow-low": "return side|filter",
    },
    # planted with a coil that clogs as well: little air altogether is as right
    "low limit in one-zone cooling": {"low-limit-trips": "few zones|altogether"},
    "blower does not run": {"equipment-without-fan": "blower does not run"},
    "no purge after heat": {"no-purge-after-heat": "fan-off delay"},
    "dampers closed on a hot plenum": {"static-peak-in-purge": "let go at the end"},
    "stage dropped on supply limit": {"stage-drop-on-limit": "set far under|so few zones"},
    "second stage never comes": {"second-stage-never-came-on": "off at the panel"},
    "second stage makes no difference": {"second-stage-no-effect": "gas valve"},
    "furnace stages itself": {"second-stage-not-by-panel": "board is set"},
    "compressor does not run": {"cooling-does-not-cool": "compressor does not run"},
    "compressor stops inside calls": {"compressor-stops-in-call": "rid of its heat"},
    "low on charge": {"cooling-does-not-cool": "charge", "coil-icing": "refrigerant"},
    "coil clogged in cooling": {"low-limit-trips": "altogether|filter|coil"},
    "burner over-fired": {"rise-outside-plate": "fire"},
    "return side clogging by the day": {"airflow-falling": "return side|filter|blower"},
    "blower weakening by the day": {"airflow-falling": "return side|blower"},
    "blower weak": {"static-low": "blower"},
    "bypass open": {"bypass-recirculation": "bypass"},
    "return leak at the plenum": {"bypass-recirculation": "leak"},
    "no relief": {"relief-missing": "relief"},
    "zone cannot hold": {"zone-not-keeping-up": "air reaches|load"},
    "zone sensor off": {"zone-sensor-off": "thermostat"},
}
