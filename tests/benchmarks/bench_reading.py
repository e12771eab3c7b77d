"""How long reading takes: sixty quantities, a rig file, a take of 72,000 frames.

Run it as ``python tests/benchmarks/bench_reading.py``. Processor time, best of several; the take is set against
numpy's own reader of the same text.
"""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from rigcheck.files import read_rig
from rigcheck.files.takes import take_from_text
from rigcheck.units import parse_quantity

SHOT = Path(__file__).parents[2] / "shared" / "shots" / "desk-set.toml"


def best(job: Callable[[], object], rounds: int = 7) -> float:
    """Least processor time of some runs [s], after one that is not counted."""
    job()
    times = []
    for _ in range(rounds):
        begin = time.process_time()
        job()
        times.append(time.process_time() - begin)
    return min(times)


def take_text(frames: int = 72_000) -> str:
    """A track of one point as a CSV text."""
    rng = np.random.default_rng(0)
    rows = np.column_stack([np.arange(frames), np.arange(frames) / 120.0, rng.normal(900, 5, (frames, 2))])
    lines = (f"{frame:.0f},{at:.5f},{x:.3f},{y:.3f}" for frame, at, x, y in rows)
    return "frame,time_s,x_px,y_px\n" + "\n".join(lines)


def main() -> None:
    """Print the table."""
    print(f"Python {sys.version.split()[0]}, numpy {np.__version__}, processor time, best of 7")
    texts = [f"{number}.25 mm" for number in range(1, 61)]
    quantities = best(lambda: [parse_quantity(text, "length", sign="positive") for text in texts])
    rig = best(lambda: read_rig(SHOT))
    text = take_text()
    take = best(lambda: take_from_text(text), 3)
    plain = best(lambda: np.loadtxt(io.StringIO(text), delimiter=",", skiprows=1), 3)
    print(f"60 quantities       {quantities * 1e3:7.2f} ms")
    print(f"the demo rig file   {rig * 1e3:7.2f} ms")
    print(f"72,000 frames       {take * 1e3:7.0f} ms, {take / plain:.2f} times numpy's own reader")


if __name__ == "__main__":
    main()
