"""How long a whole ``rigcheck check`` takes, against importing its libraries alone, and its peak memory.

Run it as ``python tests/benchmarks/bench_startup.py`` on a quiet machine. The two processes take turns, so that
what disturbs one disturbs the other; medians are compared, of the time on the clock and of processor time. The
figures to reach: under 1.5 for three props, and 300 MB.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile

from figures import Figure
from whole_process import CHECKOUT, Run, run

SHOT = CHECKOUT / "shared" / "shots" / "desk-set.toml"
LIBRARIES = "import numpy, scipy.linalg, pint, rich"

COMMANDS = {
    "libraries": ["-c", LIBRARIES],
    "check": ["-m", "rigcheck", "check", str(SHOT)],
    "check --json": ["-m", "rigcheck", "check", str(SHOT), "--json"],
    "stock": ["-m", "rigcheck", "stock", "music-wire"],
    "--version": ["-m", "rigcheck", "--version"],
}


def measure(rounds: int) -> dict[str, list[Run]]:
    """Runs of every process, the processes taking turns."""
    runs: dict[str, list[Run]] = {name: [] for name in COMMANDS}
    with tempfile.TemporaryDirectory() as byte_code:
        for arguments in COMMANDS.values():  # once unmeasured: byte code and file cache
            run(arguments, byte_code)
        for _ in range(rounds):
            for name, arguments in COMMANDS.items():
                runs[name].append(run(arguments, byte_code))
    return runs


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=15, help="how often each process is run")
    rounds = parser.parse_args().rounds
    runs = measure(rounds)
    print(
        f"Python {sys.version.split()[0]}, {rounds} rounds, load {os.getloadavg()[0]:.1f}; shot {SHOT.name}"
    )
    print(
        f"{'process':14s} {'median':>8s} {'least':>8s} {'processor':>10s} {'times libraries':>24s} {'peak':>7s}"
    )
    for name, taken in runs.items():
        # Paired: each run against the libraries of its own round.
        pairs = list(zip(taken, runs["libraries"], strict=True))
        clock = statistics.median(one.clock / base.clock for one, base in pairs)
        processor = statistics.median(one.processor / base.processor for one, base in pairs)
        middle, least = statistics.median(one.clock for one in taken), min(one.clock for one in taken)
        spent = statistics.median(one.processor for one in taken)
        print(
            f"{name:14s} {middle * 1e3:5.0f} ms {least * 1e3:5.0f} ms {spent * 1e3:7.0f} ms"
            f" {clock:10.2f} (proc. {processor:.2f}) {max(one.memory for one in taken):4.0f} MB"
        )
        if name == "check":
            libraries = "times importing the libraries"
            Figure(
                what="check on the demo shot, whole process", value=clock, unit=libraries, target=1.5
            ).tell()


if __name__ == "__main__":
    main()
