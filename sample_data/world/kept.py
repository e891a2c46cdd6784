"""Where made systems and compiled code are kept, under names made of the source's hash."""

import hashlib
import os
from functools import cache
from pathlib import Path

HERE = Path(__file__).resolve().parent
CACHE_VARIABLE = "ZONETRAIL_WORLD"  # a folder; else out/world in the checkout


@cache
def source_hash() -> str:
    """Twelve digits of the hash of everything that the world is made by."""
    digest = hashlib.sha256()
    for path in sorted(HERE.glob("*.py")):
        digest.update(path.name.encode() + path.read_bytes())
    digest.update((HERE.parent / "simulator" / "compiled.py").read_bytes())
    return digest.hexdigest()[:12]


def cache_folder() -> Path:
    """Where made systems are kept."""
    told = os.environ.get(CACHE_VARIABLE)
    return Path(told) if told else HERE.parent.parent / "out" / "world"
