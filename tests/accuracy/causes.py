"""Which first cause is right for what was planted, as a pattern of its text: condition, finding.

Only where the log can show it: a condition that several causes explain alike is left out.
"""

FIRST_CAUSE: dict[str, dict[str, str]] = {
    "second stage for one zone": {
        "high-limit-trips": "second stage",
        "second-stage-too-few-zones": "minimum|setting",
    },
    "return side clogged": {"high-limit-trips": "filter|coil|return|blower|altogether"},
    "low limit in one-zone cooling": {"low-limit-trips": "few zones"},
    "coil clogged in cooling": {"low-limit-trips": "altogether|filter|coil"},
}
