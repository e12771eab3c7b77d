"""The figures that the design asks for, from all benchmarks, in one table.

Run it as ``python tests/benchmarks/figures.py`` on a quiet machine; it takes some minutes. Each benchmark is a
process of its own and prints, beside its own lines, one line for each figure to reach; these are gathered here.
With ``--markdown FILE`` the table is written into FILE as well, between its two marks.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.table import Table

HERE = Path(__file__).parent
MARK = "figure | "
BEGIN, END = "<!-- figures: written by tests/benchmarks/figures.py -->", "<!-- end of figures -->"
HEADINGS = ("what", "figure", "to reach", "against", "reached")


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure of a benchmark.

    Attributes
    ----------
    what : str
        Named as in the design.
    value : float
        As measured.
    unit : str
        Unit of value and target.
    target : float
        The figure to reach.
    least : bool
        Whether the target is a least value; otherwise it is a most.
    against : str
        What it was set against in the same run, and the ratio; empty where nothing was.
    """

    what: str
    value: float
    unit: str
    target: float
    least: bool = False
    against: str = ""

    @property
    def reached(self) -> bool:
        """Whether the figure is reached."""
        return self.value >= self.target if self.least else self.value <= self.target

    def tell(self) -> None:
        """Print the line that is gathered."""
        print(MARK + " | ".join(self.cells()))

    def cells(self) -> tuple[str, str, str, str, str]:
        """The cells of the table."""
        bound = "at least" if self.least else "under"
        return (
            self.what,
            f"{_short(self.value)} {self.unit}".strip(),
            f"{bound} {_short(self.target)} {self.unit}".strip(),
            self.against,
            "yes" if self.reached else "NO",
        )


def _short(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def gather(script: Path) -> list[tuple[str, ...]]:
    """Run a benchmark, show what it prints, and give the cells of its figures."""
    print(f"\n== {script.name}", flush=True)
    done = subprocess.run([sys.executable, str(script)], stdout=subprocess.PIPE, text=True, check=False)
    print(done.stdout.strip(), flush=True)
    if done.returncode:
        sys.exit(f"{script.name} ended with {done.returncode}")
    lines = [line.removeprefix(MARK) for line in done.stdout.splitlines() if line.startswith(MARK)]
    return [tuple(cell.strip() for cell in line.split(" | ")) for line in lines]


def machine() -> str:
    """The machine in a line."""
    model = platform.processor() or platform.machine()
    about = Path("/proc/cpuinfo")
    if about.exists():
        names = [
            line.split(":")[1].strip() for line in about.read_text().splitlines() if "model name" in line
        ]
        model = names[0] if names else model
    load = os.getloadavg()[0]
    return f"Python {platform.python_version()}, {os.cpu_count()} cores of {model}, load {load:.1f}"


def markdown(rows: list[tuple[str, ...]]) -> str:
    """The table for the README."""
    lines = [f"| {' | '.join(HEADINGS)} |", "|---" * len(HEADINGS) + "|"]
    lines += [f"| {' | '.join(row)} |" for row in rows]
    return "\n".join([BEGIN, *lines, "", f"Measured on: {machine()}.", END])


def main() -> None:
    """Run all benchmarks and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--markdown", type=Path, help="a file with the two marks, such as README.md")
    parser.add_argument("names", nargs="*", help="only these, for example choose engine")
    given = parser.parse_args()
    scripts = sorted(HERE.glob("bench_*.py"))
    if given.names:
        scripts = [script for script in scripts if script.stem.removeprefix("bench_") in given.names]
    rows = [row for script in scripts for row in gather(script)]
    table = Table(*HEADINGS, title=machine(), title_justify="left")
    for row in rows:
        table.add_row(*row)
    print()
    Console().print(table)
    if given.markdown:
        text = given.markdown.read_text(encoding="utf-8")
        before, after = text.split(BEGIN)[0], text.split(END)[1]
        given.markdown.write_text(before + markdown(rows) + after, encoding="utf-8")


if __name__ == "__main__":
    main()
