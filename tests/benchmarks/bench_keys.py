"""A day of keyframes, a million of them: reconstruct the path, follow every mode that matters, all of the check.

Run: python tests/benchmarks/bench_keys.py
"""

from __future__ import annotations

import resource
import tempfile
import time
from pathlib import Path

import numpy as np
from figures import Figure

RIG = """
[[prop]]
name = "inkwell"
mass = "310 g"
shape = "box"
size = ["52 mm", "45 mm", "52 mm"]
centre_of_mass = ["3 mm", "0 mm", "12 mm"]
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 mm"
[[prop.move]]
slide = "mm"
along = "up"
keys = "day.csv"
"""
COUNT = 1_000_000
ROUNDS = 5


def main() -> None:
    """Print processor times; the first includes loading the libraries."""
    times = np.round(np.linspace(0.0, 86_400.0, COUNT), 6)
    values = 50.0 * np.sin(2 * np.pi * times / 600.0)
    with tempfile.TemporaryDirectory() as folder:
        rows = (f"{at:.6f},{value:.6f}" for at, value in zip(times.tolist(), values.tolist(), strict=True))
        (Path(folder) / "day.csv").write_text("time_s,value\n" + "\n".join(rows) + "\n")
        (Path(folder) / "day.toml").write_text(RIG)
        began = time.process_time()
        from rigcheck.files import read_rig
        from rigcheck.motion.keyframes import keyframe_path
        from rigcheck.studies.check import check
        from rigcheck.studies.reading.prop import read_prop

        loaded = time.process_time()
        shot = read_rig(Path(folder) / "day.toml")
        reading = read_prop(shot, shot.prop[0])
        read = time.process_time()
        print(f"load the program {loaded - began:.2f} s, read {COUNT:,} keys {read - loaded:.2f} s")
        task = reading.task
        still = task.evaluate()
        taken = []
        for _ in range(ROUNDS):
            start = time.process_time()
            keyframe_path(times, values * 1e-3)
            path = time.process_time()
            motion = task.move(still)
            taken.append((path - start, time.process_time() - path))
        for name, (one, two) in (("first", taken[0]), ("median", np.median(taken, axis=0))):
            print(f"{name}: path {one:.3f} s, response {two:.3f} s, in all {one + two:.3f} s (figure: 0.5 s)")
        print(f"modes followed: {motion.angular_frequency.shape[1]}")
        start = time.process_time()
        check(shot)
        print(f"the whole check with reading and cures: {time.process_time() - start:.2f} s")
    Figure(
        what="a million keyframes", value=float(np.median(np.sum(taken, axis=1))), unit="s", target=0.5
    ).tell()
    print(f"memory at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3:.0f} MB")


if __name__ == "__main__":
    main()
