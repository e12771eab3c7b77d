"""How long a whole ``rigcheck check`` takes, against importing its libraries alone.

Run it as ``python tests/benchmarks/bench_startup.py`` on a quiet machine. The two processes take turns, so that
what disturbs one disturbs the other; medians are compared. The figure to reach: under 1.5 for three props.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

CHECKOUT = Path(__file__).parents[2]
SHOT = CHECKOUT / "shared" / "shots" / "desk-set.toml"
LIBRARIES = "import numpy, scipy.linalg, pint, rich"

COMMANDS = {
    "libraries": ["-c", LIBRARIES],
    "check": ["-m", "rigcheck", "check", str(SHOT)],
    "check --json": ["-m", "rigcheck", "check", str(SHOT), "--json"],
    "stock": ["-m", "rigcheck", "stock", "music-wire"],
    "--version": ["-m", "rigcheck", "--version"],
}


def seconds(arguments: list[str], byte_code: str) -> float:
    """Time of one process from start to end, its byte code kept in a folder as after an install."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    environment["PYTHONPYCACHEPREFIX"] = byte_code
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=CHECKOUT,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        check=False,
    )
    taken = time.perf_counter() - begin
    if done.returncode not in (0, 1) or done.stderr:
        sys.exit(f"{arguments}: exit code {done.returncode}\n{done.stderr.decode()}")
    return taken


def measure(rounds: int) -> dict[str, list[float]]:
    """Times of every process, the processes taking turns."""
    times: dict[str, list[float]] = {name: [] for name in COMMANDS}
    with tempfile.TemporaryDirectory() as byte_code:
        for arguments in COMMANDS.values():  # once unmeasured: byte code and file cache
            seconds(arguments, byte_code)
        for _ in range(rounds):
            for name, arguments in COMMANDS.items():
                times[name].append(seconds(arguments, byte_code))
    return times


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=15, help="how often each process is run")
    rounds = parser.parse_args().rounds
    times = measure(rounds)
    print(
        f"Python {sys.version.split()[0]}, {rounds} rounds, load {os.getloadavg()[0]:.1f}; shot {SHOT.name}"
    )
    print(f"{'process':14s} {'median':>8s} {'least':>8s} {'times libraries':>16s}")
    for name, taken in times.items():
        # Paired: each run against the libraries of its own round.
        ratio = statistics.median(one / base for one, base in zip(taken, times["libraries"], strict=True))
        middle, least = statistics.median(taken), min(taken)
        print(f"{name:14s} {middle * 1e3:5.0f} ms {least * 1e3:5.0f} ms {ratio:16.2f}")


if __name__ == "__main__":
    main()
