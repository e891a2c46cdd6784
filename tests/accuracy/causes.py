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
    "low limit in one-zone cooling": {"low-limit-trips": "few zones"},
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
