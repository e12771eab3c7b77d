"""How long it takes to explain a take of 72,000 frames: ten minutes at 120 frames a second.

Prints processor time of one run after a first one: of reading the file, of finding what swings, and of the whole
explanation with the desk set's notebook. Figure to reach: under 1 s (identification and causes, the file read).

    python tests/benchmarks/bench_explain.py
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from figures import Figure

from rigcheck.files import read_rig
from rigcheck.files.takes import read_take
from rigcheck.motion.identification import identify
from rigcheck.studies.explain.study import explain

FRAMES, FRAME_RATE = 72_000, 120.0
RIG = Path(__file__).parents[2] / "shared" / "shots" / "desk-set.toml"
MODES = ((8.9, 0.004, 6.0, 0.0), (12.3, 0.004, 3.0, 1.5))
"""Frequency [Hz], damping ratio, amplitude [px], direction [rad]."""


def table() -> str:
    """A tap after 20 s in a long take: noise, drift and gaps, as text."""
    rng = np.random.default_rng(5)
    times = np.arange(FRAMES) / FRAME_RATE
    track = rng.normal(0.0, 0.15, (FRAMES, 2)) + np.outer(times, [0.002, -0.001]) + [1300.0, 900.0]
    since = np.maximum(times - 20.0, 0.0)
    for frequency, ratio, amplitude, angle in MODES:
        omega = 2 * np.pi * frequency
        wave = amplitude * np.exp(-ratio * omega * since) * np.sin(omega * since)
        track += wave[:, None] * [np.cos(angle), np.sin(angle)]
    lost = set(rng.choice(FRAMES, 200, replace=False).tolist())
    rows = (
        f"{frame},{times[frame]:.5f},{x:.2f},{y:.2f}"
        for frame, (x, y) in enumerate(track)
        if frame not in lost
    )
    return "frame,time_s,x_px,y_px\n" + "\n".join(rows) + "\n"


def processor_time(job: Callable[[], object]) -> float:
    """Seconds of the second of two runs."""
    job()
    start = time.process_time()
    job()
    return time.process_time() - start


def main() -> None:
    """Print the figures."""
    shot = read_rig(RIG)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long-take.csv"
        path.write_text(table(), encoding="utf-8")
        take = read_take(path)
        reading = processor_time(lambda: read_take(path))
        finding = processor_time(lambda: identify(take.times, take.positions))
        whole = processor_time(lambda: explain(path, shot=shot, prop="notebook", tap=True))
        result = explain(take, shot=shot, prop="notebook", tap=True)
    print(f"{FRAMES:,} frames, processor time")
    print(f"  read                          {reading:.2f} s")
    print(f"  identify                      {finding:.2f} s")
    print(f"  explain, all of it            {whole:.2f} s   figure to reach: 1 s")
    Figure(what="a take of 72,000 frames explained", value=whole, unit="s", target=1.0).tell()
    found = ", ".join(f"{one.frequency_Hz:.3f} Hz" for one in result.components)
    print(f"  found {found}; likeliest {result.causes[0].id}")


if __name__ == "__main__":
    main()
