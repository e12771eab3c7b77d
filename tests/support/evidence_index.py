"""The index of the evidence: which tests hold what against which source, and the worst difference they found.

Each module of ``tests/evidence/`` says in its mark what it checks and against what::

    pytestmark = pytest.mark.evidence(what="...", source="...", serves="check")

While its tests run, `Recorder` notes every comparison that holds, made with ``pytest.approx`` or
``numpy.testing.assert_allclose``: the largest difference over the largest value expected. What is compared by an
absolute tolerance alone (printed digits, a share of another figure) has no such share and is not counted, nor are
tests marked ``of_the_method``, which hold rates of convergence or claims about errors and no results. ``python -m
pytest tests/evidence --write-evidence`` writes the tables; `tests/evidence/test_index.py` holds them current.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

CHECKOUT = Path(__file__).parents[2]
INDEX = CHECKOUT / "tests" / "evidence" / "README.md"
README = CHECKOUT / "README.md"
BEGIN = "<!-- evidence: written by python -m pytest tests/evidence --write-evidence -->"
END = "<!-- evidence ends -->"
SMALLEST = 1e-9
"""Differences under it are rounding, which differs from machine to machine."""

HEAD = f"""# Evidence

What is checked against published values, closed forms and independent libraries, and the worst difference found:
the largest difference over the largest value expected, of all comparisons of a module that are made by a share (those
within printed digits hold too and are not counted). Where a source prints three digits, its own rounding is most of
it; damping from a noisy take, and laws fitted to a table, are what they are. "From memory" marks a source that was
not at hand in print; the tests name table, equation and edition beside each value, and where each tolerance is from.

Written by `python -m pytest tests/evidence --write-evidence`; `test_index.py` holds it current.

{BEGIN}
{END}
"""


@dataclass
class Entry:
    """One module of evidence."""

    module: str
    what: str
    source: str
    serves: str
    collected: int = 0
    passed: int = 0
    comparisons: int = 0
    worst: float | None = None


@dataclass
class Recorder:
    """What the evidence of this session found, by module."""

    entries: dict[str, Entry] = field(default_factory=dict)

    def collect(self, item: pytest.Item) -> None:
        """Count a test; remember what its module says of itself."""
        mark = item.get_closest_marker("evidence")
        if mark is None:
            return
        module = item.path.name
        entry = self.entries.setdefault(module, Entry(module, **mark.kwargs))
        entry.collected += 1

    @contextmanager
    def comparing(self, item: pytest.Item) -> Iterator[None]:
        """Note the comparisons of one test."""
        entry = self.entries.get(item.path.name)
        if entry is None or item.get_closest_marker("of_the_method") is not None:
            yield
            if entry is not None:
                entry.passed += 1
            return
        approx, allclose = pytest.approx, np.testing.assert_allclose

        class Approx:
            """What ``pytest.approx`` gives, and a note of each comparison that holds."""

            __hash__ = None  # type: ignore[assignment]
            __array_priority__ = 200
            __array_ufunc__ = None

            def __init__(self, expected: Any, *rest: Any, **more: Any) -> None:
                self.expected, self.plain = expected, approx(expected, *rest, **more)
                self.by_share = bool(rest or "rel" in more or "abs" not in more)

            def __eq__(self, found: object) -> bool:
                holds = bool(found == self.plain)
                if holds and self.by_share:
                    note(entry, found, self.expected)
                return holds

            def __ne__(self, found: object) -> bool:
                return not bool(found == self.plain)

            def __repr__(self) -> str:
                return repr(self.plain)

        def noted(actual: Any, desired: Any, *rest: Any, **more: Any) -> None:
            allclose(actual, desired, *rest, **more)
            if more.get("rtol", 1.0) > 0:
                note(entry, actual, desired)

        with patch.object(pytest, "approx", Approx), patch.object(np.testing, "assert_allclose", noted):
            yield
        entry.passed += 1


def note(entry: Entry, found: object, expected: object) -> None:
    """Take one comparison into the worst difference of its module."""
    try:
        one, other = (np.asarray(value, dtype=float) for value in (found, expected))
        size = float(np.max(np.abs(other), initial=0.0))
        difference = float(np.max(np.abs(one - other), initial=0.0))
    except (TypeError, ValueError):
        return
    if not (size > 0 and math.isfinite(size) and math.isfinite(difference)):
        return  # against zero there is no share to speak of
    entry.comparisons += 1
    entry.worst = max(entry.worst or 0.0, difference / size)


def shown(worst: float | None) -> str:
    """A difference in one digit, rounded up; what is rounding only is said to be so.

    >>> shown(0.00312), shown(3e-13), shown(None), shown(0.05), shown(2.4e-7)
    ('0.4 %', 'under 1e-9', 'see the tests', '5 %', '3e-7')
    """
    if worst is None:
        return "see the tests"
    if worst < SMALLEST:
        return f"under {SMALLEST:.0e}".replace("e-09", "e-9")
    exponent = math.floor(math.log10(worst) + 1e-9)
    digit = math.ceil(worst / 10.0**exponent - 1e-6)
    if digit == 10:
        digit, exponent = 1, exponent + 1
    if exponent >= -4:
        return f"{digit * 10.0 ** (exponent + 2):.{max(0, -exponent - 2)}f} %"
    return f"{digit}e{exponent}"


def read(text: str) -> float:
    """The difference that a cell of the table states.

    >>> read("0.4 %"), read("under 1e-9"), read("3e-7")
    (0.004, 1e-09, 3e-07)
    """
    text = text.removeprefix("under ")
    return float(text.removesuffix(" %")) / 100.0 if text.endswith("%") else float(text)


def rows(table: str) -> list[list[str]]:
    """The cells of a table, without its head."""
    lines = [line for line in table.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def table(entries: list[Entry], *, link: Callable[[str], str]) -> str:
    """The table of the evidence."""
    lines = [
        "| what is checked | against | command | tests | worst difference | where |",
        "|---|---|---|---|---|---|",
    ]
    for one in sorted(entries, key=lambda entry: entry.module):
        cells = (one.what, one.source, one.serves, str(one.collected), shown(one.worst), link(one.module))
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def block(path: Path) -> str:
    """The generated part of a file."""
    text = path.read_text(encoding="utf-8")
    return text[text.index(BEGIN) + len(BEGIN) : text.index(END)].strip("\n") + "\n"


def write(entries: list[Entry]) -> None:
    """Write the tables into both files."""
    if not INDEX.exists():
        INDEX.write_text(HEAD, encoding="utf-8")
    places = {INDEX: lambda name: f"`{name}`", README: lambda name: f"[{name}](tests/evidence/{name})"}
    for path, link in places.items():
        text = path.read_text(encoding="utf-8")
        start, end = text.index(BEGIN) + len(BEGIN), text.index(END)
        path.write_text(f"{text[:start]}\n\n{table(entries, link=link)}\n{text[end:]}", encoding="utf-8")
