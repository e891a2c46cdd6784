"""Text as a terminal may be given it: what came from a stranger's file is shown, never obeyed."""

from __future__ import annotations

import re

# Control characters but line breaks and tabs; marks that turn the direction of what follows, so
# that a name reads as another; and halves of letters, as which bytes in file names come that are
# no text: no stream can write those.
_MAX_LINE = 4_000
_ORDERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def visible(text: str) -> str:
    """The text with every letter that a terminal would obey written as its code: \\u001b."""
    return _ORDERS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def shown(text: str) -> str:
    """The text as visible, with lines that no terminal shows whole cut and said to be."""
    return visible("\n".join(shortened(line, _MAX_LINE) for line in text.split("\n")))


def shortened(text: str, most: int) -> str:
    """At most so many letters of the text, with how many there were where it was longer."""
    return text if len(text) <= most else f"{text[:most]}… ({len(text):,} letters)"
