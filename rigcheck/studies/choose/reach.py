"""How far a size reaches: the longest free length that still passes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.candidates import Candidates, Item
from rigcheck.studies.choose.grades import grade_candidates

__all__ = ["LONGEST", "SHORTEST", "Reach", "longest_reach", "reach_rows", "reaches_of"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

SHORTEST, LONGEST = 0.02, 1.5
"""Free lengths between which reach is looked for [m]."""
_STEPS = 14
_LOOKS = 3
_RULER = 1e-3
"""Lengths are in whole millimetres [m]."""
_FINE = 0.01
"""Share of a length within which its reach is found."""
_MOST_MATERIALS = 4
"""Materials whose every size is looked at: those that lead."""
_MOST_LISTED = 24
"""Candidates near the top that are looked at besides."""


@dataclass(frozen=True, kw_only=True)
class Reach:
    """How far one size reaches with this prop.

    Attributes
    ----------
    item : Item
        The size, on one support.
    length_mm : float or None
        Longest free length that passes; None where not even the shortest does.
    """

    item: Item
    length_mm: float | None


def longest_reach(rows: Index, rank_of: Callable[[Index, Array], Index], *, ceiling: int = 0) -> Array:
    """Find the longest free length with which each candidate still passes.

    Parameters
    ----------
    rows : int array, shape (n,)
        Candidates.
    rank_of : callable
        Takes candidates (k,) and a free length of each [m] (k,), gives their ranks (k,): 0 is a pass.
    ceiling : int
        Largest rank that still counts.

    Returns
    -------
    array, shape (n,)
        [m], in whole millimetres; NaN where even the shortest length fails. Within one millimetre or 1 % below
        the length at which it first fails, whichever is more.

    Notes
    -----
    A longer support may pass again by luck, where a move happens to end in step with its swing. That is not
    counted: the reach is the end of the stretch that passes from the shortest length on, as sampled in steps of
    40 % and then halved.
    """
    grid = np.unique(np.round(np.geomspace(SHORTEST, LONGEST, _STEPS) / _RULER)) * _RULER
    count = len(rows)
    passes = np.zeros((count, len(grid)), dtype=bool)
    going = np.arange(count)
    # From short to long, a few steps at once, and no further with those that have failed.
    for steps in np.array_split(np.arange(len(grid)), _LOOKS):
        if not len(going):
            break
        ranks = rank_of(np.repeat(rows[going], len(steps)), np.tile(grid[steps], len(going)))
        good = np.logical_and.accumulate((ranks <= ceiling).reshape(len(going), -1), axis=1)
        passes[going[:, None], steps] = good
        going = going[good[:, -1]]
    reached = passes.sum(axis=1)
    low = np.where(reached > 0, grid[np.maximum(reached - 1, 0)], np.nan)
    high = np.where((reached > 0) & (reached < len(grid)), grid[np.minimum(reached, len(grid) - 1)], np.nan)
    while True:
        # The 1e-9 keeps a difference of one millimetre from counting as more by rounding.
        open_ = np.flatnonzero(high - low > np.maximum(_RULER, _FINE * low) + 1e-9)
        if not len(open_):
            return np.asarray(np.round(low / _RULER) * _RULER)
        middle = np.round(0.5 * (low[open_] + high[open_]) / _RULER) * _RULER
        good = rank_of(rows[open_], middle) <= ceiling
        low[open_] = np.where(good, middle, low[open_])
        high[open_] = np.where(good, high[open_], middle)


def reaches_of(candidates: Candidates, order: Index) -> dict[tuple[int, int], float]:
    """Longest reach [m] of the materials that lead, in every size, and of every other candidate near the top.

    By item and count; NaN where even the shortest length fails.
    """
    near = order[: 4 * _MOST_MATERIALS]
    leading = list(
        dict.fromkeys(candidates.items[candidates.item[index]].material for index in near.tolist())
    )[:_MOST_MATERIALS]
    wanted = np.array([item.material in leading for item in candidates.items])[candidates.item]
    wanted &= candidates.count == candidates.count.min()
    wanted[order[:_MOST_LISTED]] = True
    rows = np.flatnonzero(wanted)
    found = longest_reach(
        rows,
        lambda chosen, lengths: grade_candidates(candidates, chosen, lengths, quick=True).rank,
        ceiling=1 if candidates.task.limits.hazard == "overhead" else 0,
    )
    return {
        (int(candidates.item[index]), int(candidates.count[index])): float(length)
        for index, length in zip(rows, found, strict=True)
    }


def reach_rows(candidates: Candidates, reaches: dict[tuple[int, int], float]) -> tuple[Reach, ...]:
    """The reach of each size on as few supports as were tried, by material and size."""
    least = int(candidates.count.min()) if len(candidates) else 1
    rows = [
        Reach(item=candidates.items[item], length_mm=float(length * 1e3) if np.isfinite(length) else None)
        for (item, count), length in reaches.items()
        if count == least
    ]
    return tuple(
        sorted(rows, key=lambda row: (row.item.material, row.item.section, row.item.across, row.item.label))
    )
