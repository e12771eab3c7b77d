"""One whole process, measured as after an install: its byte code is kept, and nothing else of Python is set."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

__all__ = ["CHECKOUT", "Run", "run"]

CHECKOUT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Run:
    """One process from start to end: time on the clock and of the processor [s], peak memory [MB]."""

    clock: float
    processor: float
    memory: float


def run(arguments: list[str], byte_code: str) -> Run:
    """Run one process of Python, its byte code kept in a folder as after an install.

    Run it once unmeasured first: the first run compiles, which takes longer than a whole check.
    """
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
