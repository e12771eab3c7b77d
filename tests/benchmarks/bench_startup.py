"""How long a whole ``rigcheck check`` takes, against importing its libraries alone, and its peak memory.

Run it as ``python tests/benchmarks/bench_startup.py`` on a quiet machine. The two processes take turns, so that
what disturbs one disturbs the other; medians are compared, of the time on the clock and of processor time. The
figures to reach: under 1.5 for three props, and 300 MB.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from figures import Figure

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


@dataclass(frozen=True)
class Run:
    """One process from start to end: time on the clock and of the processor [s], peak memory [MB]."""

    clock: float
    processor: float
    memory: float


def run(arguments: list[str], byte_code: str) -> Run:
    """Run one process, its byte code kept in a folder as after an install."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    environment["PYTHONPYCACHEPREFIX"] = byte_code
    begin = time.perf_counter()
    with tempfile.TemporaryFile() as told:
        process = subprocess.Popen(
            [sys.executable, *arguments],
            cwd=CHECKOUT,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=told,
        )
        _, status, usage = os.wait4(process.pid, 0)
        taken = time.perf_counter() - begin
        process.returncode = os.waitstatus_to_exitcode(status)
        told.seek(0)
        words = told.read().decode()
    if process.returncode not in (0, 1) or words:
        sys.exit(f"{arguments}: exit code {process.returncode}\n{words}")
    return Run(taken, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


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
