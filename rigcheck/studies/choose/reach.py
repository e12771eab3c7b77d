"""How far a size reaches: the longest free length that still passes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.candidates import Candidates, Item
from rigcheck.studies.cautions import REQUIRED_FACTOR
from rigcheck.studies.choose.grades import Graded, grade_candidates
from rigcheck.studies.grading import BUCKLING_FACTOR, CAUTION_SHARE, DROOP_SHARE, SETTLE_CAUTION, Limits

__all__ = ["LONGEST", "SHORTEST", "Reach", "longest_reach", "reach_rows", "reaches_of"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]

SHORTEST, LONGEST = 0.02, 1.5
"""Free lengths between which reach is looked for [m]."""
_RULER = 1e-3
"""Lengths are in whole millimetres [m]."""
_STEPS = 14
_GRID = np.round(np.geomspace(SHORTEST, LONGEST, _STEPS) / _RULER) * _RULER
"""Lengths that are looked at until one fails [m]."""
_FINE = 0.01
"""Share of a length within which its reach is found."""
_USUAL, _STEEP = 0.15, 3.5
"""Where reach is looked for first without a guess [m]; power of the length with which wobble grows, about."""
_SPREAD, _SPREAD_BETWEEN, _ANYWHERE = 0.18, 0.15, 0.4
"""How sure a guess is, as a logarithm of the length; the same between two looks, as a share of what lies between; and
the likelihood that it tells nothing there. They decide what is looked at together, and no answer."""
_WORTH_A_BATCH, _LIKELY_ENOUGH = 200, (0.08, 0.5)
"""A look is taken ahead where it is wanted with a likelihood of the candidates, times what one costs, over the first,
within the second: tried out on fifteen props."""
_LITTLE = 1e-3
"""Room where only the grade is known."""
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


def longest_reach(
    rows: Index, room_of: Callable[[Index, Array], Array], *, guess: Array | None = None, cost: float = 1.0
) -> Array:
    """Find the longest free length with which each candidate still passes.

    Parameters
    ----------
    rows : int array, shape (n,)
        Candidates.
    room_of : callable
        Takes candidates (k,) and a free length of each [m] (k,), gives the room that each has (k,): from 0 on it
        passes. Best the logarithm of its least margin, which tells how much longer it may be.
    guess : array, shape (n,), optional
        Where the reach of each may lie [m]. It saves looks and changes no answer.
    cost : float
        What looking at one costs, against one on one support.

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

    A batch costs as much as a hundred rows of one support, so several lengths of each candidate are looked at
    together: the next one, and those that come after it with some likelihood. The answers are those of one length
    after another.
    """
    count = len(rows)
    low, high = np.zeros(count), np.full(count, np.inf)
    below, above = np.full(count, np.nan), np.full(count, np.nan)
    middle = np.full(count, np.log(_USUAL)) if guess is None else np.log(guess)
    spread = np.full(count, 1.0 if guess is None else _SPREAD)
    while True:
        open_ = np.flatnonzero(_is_open(low, high))
        if not len(open_):
            return np.where(low > 0, np.round(low / _RULER) * _RULER, np.nan)
        likely = _Likely(low[open_], high[open_], middle[open_], spread[open_])
        looks = _looks_ahead(likely, cost)
        room = room_of(rows[open_[looks.row]], looks.length)
        # From look to look as they came out.
        at, who = np.arange(len(open_)), open_
        while len(at):
            passes = room[at] >= 0
            low[who] = np.where(passes, looks.length[at], low[who])
            below[who] = np.where(passes, room[at], below[who])
            high[who] = np.where(passes, high[who], looks.length[at])
            above[who] = np.where(passes, above[who], room[at])
            at = looks.next[at, passes.astype(np.intp)]
            at, who = at[at >= 0], who[at >= 0]
        middle, spread = _where_it_fails(low, high, below, above)


def _is_open(low: Array, high: Array) -> Flags:
    """Whether there is more to look at where `low` passes and `high` fails, (n,); 0 and infinite where not known."""
    # The 1e-9 keeps a difference of one millimetre from counting as more by rounding.
    apart = (low > 0) & (high - low > np.maximum(_RULER, _FINE * low) + 1e-9)
    return np.where(np.isinf(high), low < _GRID[-1] - 1e-9, apart)


def _next_length(low: Array, high: Array) -> Array:
    """The next length to look at [m], (n,): the next step, and once one has failed the middle."""
    longer = _GRID[np.minimum(np.searchsorted(_GRID, low + 1e-9), len(_GRID) - 1)]
    middle = np.round(0.5 * (low + high) / _RULER) * _RULER
    return np.where(np.isinf(high), longer, middle)


def _where_it_fails(low: Array, high: Array, below: Array, above: Array) -> tuple[Array, Array]:
    """Where each may first fail, as the logarithm of a length, and how sure that is, (n,).

    Between two lengths the room is taken to change with the logarithm of the length.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        start, width = np.log(low), np.log(high) - np.log(low)
        between = start + below / (below - above) * width
    beyond = start + np.clip(below / _STEEP, 0.05, 1.0)
    known = np.isfinite(high)
    return np.where(known, between, beyond), np.where(known, _SPREAD_BETWEEN * width, _SPREAD)


@dataclass(frozen=True, eq=False, repr=False)
class _Likely:
    """Where candidates may first fail: a logistic distribution about `middle`, and a share anywhere between."""

    low: Array
    high: Array
    middle: Array
    spread: Array

    def before(self, row: Index, length: Array) -> Array:
        """How likely each fails before a length."""
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            near = 1.0 / (1.0 + np.exp((self.middle[row] - np.log(length)) / self.spread[row]))
            share = (length - self.low[row]) / (self.high[row] - self.low[row])
        known = np.isfinite(self.high[row]) & (self.low[row] > 0)
        return np.where(known, (1 - _ANYWHERE) * near + _ANYWHERE * np.clip(share, 0.0, 1.0), near)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Looks:
    """Lengths to look at together.

    Attributes
    ----------
    row : int array, shape (k,)
        Whose; the first look at each comes first.
    length : array, shape (k,)
        [m].
    next : int array, shape (k, 2)
        Which look comes after one that fails and after one that passes; -1 where it is not among them.
    """

    row: Index
    length: Array
    next: Index


def _looks_ahead(likely: _Likely, cost: float) -> _Looks:
    """The next look at each candidate, and those after it that are likely enough to be wanted."""
    count = len(likely.low)
    # Fewer candidates, more of each: a look that was not wanted costs little, and another batch the same.
    enough = np.clip(cost * count / _WORTH_A_BATCH, *_LIKELY_ENOUGH)
    row, low, high, chance = np.arange(count), likely.low, likely.high, np.ones(count)
    rows, lengths, after, outcome, total = [], [], [], [], 0
    while len(row):
        length = _next_length(low, high)
        places = total + np.arange(len(row))
        total += len(row)
        rows.append(row)
        lengths.append(length)
        first = np.where(low > 0, likely.before(row, low), 0.0)
        last = np.where(np.isinf(high), 1.0, likely.before(row, high))
        share = (np.clip(likely.before(row, length), first, last) - first) / np.maximum(last - first, 1e-12)
        fails = (chance * share >= enough) & _is_open(low, length)
        passes = (chance * (1 - share) >= enough) & _is_open(length, high)
        after += [places[fails], places[passes]]
        outcome += [np.zeros(fails.sum(), dtype=np.intp), np.ones(passes.sum(), dtype=np.intp)]
        row = np.concatenate([row[fails], row[passes]])
        chance = np.concatenate([(chance * share)[fails], (chance * (1 - share))[passes]])
        low, high = (
            np.concatenate([low[fails], length[passes]]),
            np.concatenate([length[fails], high[passes]]),
        )
    following = np.full((total, 2), -1)
    following[np.concatenate(after), np.concatenate(outcome)] = np.arange(count, total)
    return _Looks(row=np.concatenate(rows), length=np.concatenate(lengths), next=following)


def reaches_of(
    candidates: Candidates, order: Index, graded: Graded, shown: Sequence[int] = ()
) -> dict[tuple[int, int], float]:
    """Longest reach [m] on as few supports as were tried, and of what is shown on more.

    Of the materials that lead, in every size, and of every other size near the top.

    Parameters
    ----------
    candidates : Candidates
        All of them, on straight supports.
    order : int array, shape (candidates,)
        Best first.
    graded : Graded
        Of all, at the prop's free length: where to look first.
    shown : sequence of int, optional
        Candidates that are wanted in any case.

    Returns
    -------
    dict of (int, int) to float
        By item and count; NaN where even the shortest length fails.
    """
    near = order[: 4 * _MOST_MATERIALS]
    leading = list(
        dict.fromkeys(candidates.items[candidates.item[index]].material for index in near.tolist())
    )[:_MOST_MATERIALS]
    wanted = np.array([item.material in leading for item in candidates.items])[candidates.item]
    wanted[order[:_MOST_LISTED]] = True
    wanted &= candidates.count == candidates.count.min()
    wanted[list(shown)] = True
    guess = _guess(candidates, graded)

    def room_of(chosen: Index, lengths: Array) -> Array:
        found = grade_candidates(candidates, chosen, lengths, quick=True)
        room = np.min([part for part, _ in _rooms(candidates.task.limits, found, lengths)], axis=0)
        passes = found.rank <= _ceiling(candidates.task.limits)
        # The grade decides; where it has other reasons, how far off they are is not known.
        return np.asarray(np.where(passes, np.maximum(room, _LITTLE), np.minimum(room, -_LITTLE)))

    found = np.full(len(candidates), np.nan)
    # One number of supports is one batch.
    for count in sorted(set(candidates.count[wanted].tolist())):
        rows = np.flatnonzero(wanted & (candidates.count == count))
        # What moves is solved for six unknowns of each support and those that join them.
        found[rows] = longest_reach(rows, room_of, guess=guess[rows], cost=float(count) ** 2)
    return {
        (int(candidates.item[index]), int(candidates.count[index])): float(found[index])
        for index in np.flatnonzero(wanted)
    }


def _ceiling(limits: Limits) -> int:
    """Largest rank that counts as a pass: nothing overhead ever comes out better than a caution."""
    return 1 if limits.hazard == "overhead" else 0


def _rooms(limits: Limits, graded: Graded, lengths: Array) -> list[tuple[Array, float]]:
    """How far each graded finding is inside what passes, as a logarithm (n,), and about how steeply that falls.

    Infinite where it is not known. The steepness is the power of the free length with which a slender cantilever
    under a heavy tip comes nearer the limit: moment with L, least load against buckling with L^-2, sag over length
    with L^2, and what a smooth move leaves of a swing of frequency L^-1.5 with its square or more.
    """
    overhead = _ceiling(limits) > 0
    sag = np.full(len(lengths), np.inf) if overhead else DROOP_SHARE * lengths
    if limits.sag is not None:
        sag = np.minimum(sag, limits.sag)
    wobble = limits.wobble * (1.0 if overhead else CAUTION_SHARE)
    settle = limits.settle * (SETTLE_CAUTION if overhead else 1.0)
    value = graded.values
    with np.errstate(divide="ignore", invalid="ignore"):
        found = [
            (np.log(value["yield-factor"] / REQUIRED_FACTOR[limits.hazard]), 1.0),
            (np.log(value["buckling"] / BUCKLING_FACTOR), 2.0),
            (np.log(sag / value["sag"]), 2.0),
            (np.log(wobble / value["residual-wobble"]), _STEEP),
            (np.log(settle / value["settle"]), _STEEP),
        ]
    return [(np.where(np.isnan(room), np.inf, room), steep) for room, steep in found]


def _guess(candidates: Candidates, graded: Graded) -> Array:
    """About how far each candidate reaches [m], from how it was graded and from what it cannot sag less than."""
    limits = candidates.task.limits
    length = candidates.free_length()
    rooms = _rooms(limits, graded, np.full(len(candidates), length))
    reach = np.min([length * np.exp(np.clip(room / steep, -9.0, 9.0)) for room, steep in rooms], axis=0)
    least = candidates.least_sag(np.ones(len(candidates)))
    with np.errstate(divide="ignore"):
        if _ceiling(limits) == 0:
            reach = np.minimum(reach, np.sqrt(DROOP_SHARE / least))
        if limits.sag is not None:
            reach = np.minimum(reach, np.cbrt(limits.sag / least))
    return np.asarray(np.clip(reach, 0.5 * SHORTEST, 2.0 * LONGEST))


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
