"""What the simulated world costs: seconds to simulate and export many site-weeks, and same bytes.

Run: python tests/benchmarks/world_cost.py [SITES] [PROCESSES]    (default 800 sites, 2 processes)

Prints the wall time, CPU seconds per site-week and, for a sample of systems made again in another
order and process, whether every byte of their exports is the same.
"""

from __future__ import annotations

import hashlib
import sys
import time
from concurrent.futures import ProcessPoolExecutor

from sample_data import world
from sample_data.world.export import exports


def systems(n: int) -> list[world.System]:
    """n systems of the tuning part: the catalogue, then healthy ones."""
    chosen = world.catalogue("tuning")[: n // 2]
    return chosen + [world.healthy("tuning", k) for k in range(100, 100 + n - len(chosen))]


def make(system: world.System) -> tuple[str, float, float]:
    """Hash of one system's exports, its CPU seconds, and its length in weeks."""
    started = time.process_time()
    files = exports(system, world.record(system))
    took_s = time.process_time() - started
    digest = hashlib.sha256("".join(f.name + f.text for f in files).encode()).hexdigest()
    return digest, took_s, system.seconds / 604_800


def main() -> None:
    """Make the sites and print what it cost."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 800
    processes = int(sys.argv[2]) if len(sys.argv) > 2 else 2
    chosen = systems(n)
    started = time.perf_counter()
    with ProcessPoolExecutor(processes) as pool:
        made = list(pool.map(make, chosen, chunksize=8))
    wall_s = time.perf_counter() - started
    weeks = sum(w for _, _, w in made)
    again = [make(s)[0] for s in reversed(chosen[:: max(1, n // 10)])]
    same = again == [made[k][0] for k in reversed(range(0, n, max(1, n // 10)))]
    print(f"{n} sites, {weeks:.0f} site-weeks, {processes} processes: {wall_s / 60:.1f} min")
    print(f"CPU: {sum(t for _, t, _ in made) / weeks:.2f} s per site-week (simulate and export)")
    print(f"{len(again)} of them made again in another order: {'same' if same else 'OTHER'} bytes")


if __name__ == "__main__":
    main()
