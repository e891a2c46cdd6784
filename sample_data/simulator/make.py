"""Write the sample site again: `python -m sample_data.simulator.make [DIR]`.

Without DIR, in place. Exports and truth are compressed with no time in the header, so equal data
give equal bytes under the same zlib.
"""

import argparse
import gzip
import json
from pathlib import Path

from sample_data.simulator import larch_14 as site
from sample_data.simulator.loggers import exports
from sample_data.simulator.truth import truth

HOME = Path(__file__).resolve().parent.parent / site.SITE


def write(path: Path, text: str) -> int:
    """Compress `text` into `path`; gives the compressed size in bytes."""
    packed = gzip.compress(text.encode("utf-8"), compresslevel=9, mtime=0)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(packed)
    return len(packed)


def main() -> None:
    """Simulate, export, work out the truth, write."""
    parser = argparse.ArgumentParser(description="Make the sample site's exports and truth.")
    parser.add_argument("folder", nargs="?", type=Path, default=HOME)
    folder = parser.parse_args().folder
    record = site.record()
    files = exports(record)
    for export in files:
        size = write(folder / "exports" / f"{export.name}.gz", export.text)
        print(f"{export.name}: {export.rows} rows, {size} bytes compressed")
    told = json.dumps(truth(record, files), indent=1)
    size = write(folder / "truth.json.gz", told + "\n")
    print(f"truth.json: {size} bytes compressed")


if __name__ == "__main__":
    main()
