"""The best of many graded candidates, each given the whole check as if it stood in the file."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop, Shot
from rigcheck.stock import find_clamp
from rigcheck.studies.candidates import Candidates, shot_with
from rigcheck.studies.carried import carried_at
from rigcheck.studies.choose.grades import Graded
from rigcheck.studies.examining import examine
from rigcheck.studies.holding import short_grip
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Finding, Status
from rigcheck.studies.uncertainty import chances_of, surely_fails, with_chances
from rigcheck.studies.work import Work, works_together

__all__ = ["Proposal", "Proposals", "in_full", "is_seen"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_RANKS = {Status.PASS: 0, Status.CAUTION: 1, Status.FAIL: 2}
_SURELY_ELASTIC = 1.5
"""Load over the one that is there from which a bend begins to stay, by the grades, above which none does."""
_LOOKS = 4
"""Candidates looked at in full for each one wanted, at most: where nothing passes in full, all would be."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Proposal:
    """A candidate with what the whole check says of it.

    Attributes
    ----------
    verdict : Status
        Of every check of one prop, those of the other props left out.
    findings : tuple of Finding
        All that a verdict depends on.
    work : Work
        What was computed of it.
    """

    verdict: Status
    findings: tuple[Finding, ...]
    work: Work

    @property
    def yields(self) -> bool:
        """Whether it gives way, so that the sag by elastic theory is not where it settles."""
        return self.work.still.yielding is not None

    @property
    def rank(self) -> int:
        """0 pass, 1 caution, 2 fail."""
        return _RANKS[self.verdict]


class Proposals:
    """The whole check of candidates, each made once."""

    def __init__(self, candidates: Candidates, graded: Graded | None = None) -> None:
        self._candidates, self._graded = candidates, graded
        self._known: dict[int, Proposal] = {}
        self._chances: dict[int, float | None] = {}
        self._put_off: set[int] = set()
        self._seen: dict[int, bool] = {}

    def __contains__(self, index: int) -> bool:
        """Whether a candidate has been looked at."""
        return index in self._known

    def of(self, index: int) -> Proposal:
        """Look at one candidate."""
        self.look([index])
        return self._known[index]

    def look(self, indices: Sequence[int]) -> None:
        """Look at candidates together, which takes less than one after another."""
        new = [index for index in indices if index not in self]
        if new:
            self._known.update(zip(new, in_full(self._candidates, new), strict=True))

    def chances_of_pass(self, indices: Iterable[int]) -> dict[int, float | None]:
        """As in a check of each; worked out for those that are shown, as many as can together.

        Parameters
        ----------
        indices : iterable of int
            Candidates; those not yet looked at are.

        Returns
        -------
        dict of int to (float or None)
            By candidate; None where a check has no ranges.
        """
        wanted = dict.fromkeys(indices)
        new = [index for index in wanted if index not in self._chances]
        self.look(new)
        self._chances |= {
            index: 0.0 for index in new if surely_fails(self.of(index).work, self.of(index).findings)
        }
        unsure = [index for index in new if index not in self._chances]
        spreads = chances_of([self.of(index).work for index in unsure])
        for index, spread in zip(unsure, spreads, strict=True):
            self._chances[index] = with_chances(self.of(index).findings, spread)[1]
        return {index: self._chances[index] for index in wanted}

    def rank(self, index: int, graded: int) -> int:
        """Rank of a candidate as far as it has been looked at; `graded` is what it was graded."""
        if index in self:
            return self.of(index).rank
        return max(graded, 1) if index in self._put_off else graded

    @cached_property
    def _short(self) -> frozenset[int]:
        """Candidates that the clamp holds by less than it wants, which the whole check makes a caution at least."""
        support = self._candidates.prop.support[0]
        if support.clamp is None or support.grip is None:
            return frozenset()
        short = short_grip(
            find_clamp(support.clamp), grip=support.grip.m_as("m"), size=self._candidates.across
        )
        return frozenset(np.flatnonzero(short[self._candidates.item]).tolist())

    def _is_seen(self, index: int) -> bool:
        """Whether a support shows where the candidate has settled as graded, which makes it a caution at least."""
        if self._graded is None:
            return False
        if index not in self._seen:
            self._seen[index] = is_seen(self._candidates, self._graded, index)
        return self._seen[index]

    def best(self, order: Index, ranks: Index, most: int, *, every: bool = False) -> list[int]:
        """Give the first of the candidates when the whole check ranks them.

        Parameters
        ----------
        order : int array, shape (n,)
            Candidates, best first within each rank.
        ranks : int array, shape (candidates,)
            What they were graded; the whole check can only find more.
        most : int
            How many.
        every : bool
            Look at once at those too that could pass but for a short grip, or a support that shows. Else they are put
            off until a caution is good enough.

        Returns
        -------
        list of int
            Best first. Where four times as many have been looked at, it ends with what has been found.
        """
        while True:
            found, unknown = self._first(order, ranks, most, every=every)
            if not unknown:
                return found
            # Ranks only get worse, so whoever is needed while these keep theirs is needed in any case.
            self.look(unknown)

    def _first(self, order: Index, ranks: Index, most: int, *, every: bool) -> tuple[list[int], list[int]]:
        """The best as far as candidates have been looked at, the others as graded; and those others."""
        heap = [(int(ranks[index]), place, index, False) for place, index in enumerate(order.tolist())]
        heapq.heapify(heap)
        found: list[int] = []
        unknown: list[int] = []
        self._put_off.clear()
        looks = 0
        # Worth asking where one was seen already: most hide all, or none.
        some_seen = any(
            one.id == "hidden" and one.status is Status.CAUTION
            for proposal in self._known.values()
            for one in proposal.findings
        )

        def sure_caution(index: int) -> bool:
            return index in self._short or (some_seen and self._is_seen(index))

        def ranked(rank: int, place: int, index: int) -> tuple[int, int, int, bool]:
            if index not in self:
                unknown.append(index)
                return (rank, place, index, True)
            return (max(rank, self.of(index).rank), place, index, True)

        while heap and len(found) < most:
            rank, place, index, known = heapq.heappop(heap)
            if known:
                found.append(index)
            elif index in self._put_off:
                heapq.heappush(heap, ranked(rank, place, index))
            elif looks < _LOOKS * most:
                looks += 1
                if rank < 1 and not every and index not in self and sure_caution(index):
                    self._put_off.add(index)
                    heapq.heappush(heap, (1, place, index, False))
                else:
                    heapq.heappush(heap, ranked(rank, place, index))
        return found, unknown


def is_seen(candidates: Candidates, graded: Graded, index: int) -> bool:
    """Whether the whole check is sure to find that a support shows, by where a candidate has settled as graded.

    Parameters
    ----------
    candidates : Candidates
        All of them.
    graded : Graded
        Of all of them.
    index : int
        Which.

    Returns
    -------
    bool
        False too where that is not sure: seen through a lens, or so near to yielding that it may settle elsewhere.
    """
    from rigcheck.studies.hiding import whether_hidden

    eye = candidates.task.eye
    if eye is None or eye.camera.distance is not None:
        return False
    shot, prop = _as_written(candidates, index)
    reading = read_prop(shot, prop)
    if not reading.set_share * graded.values["yield-factor"][index] > _SURELY_ELASTIC:
        return False
    body = carried_at(prop, reading, displacement=graded.displacement[index], rotation=graded.rotation[index])
    return whether_hidden(shot, body, eye.camera).status is Status.CAUTION


def _as_written(candidates: Candidates, index: int) -> tuple[Shot, Prop]:
    """The shot with a candidate as it would stand in the file, and the prop on it."""
    place = next(number for number, prop in enumerate(candidates.shot.prop) if prop is candidates.prop)
    item, count = candidates.items[candidates.item[index]], int(candidates.count[index])
    shot = shot_with(candidates.shot, candidates.prop, item, count=count)
    return shot, shot.prop[place]


def in_full(candidates: Candidates, indices: Sequence[int]) -> list[Proposal]:
    """Give candidates the whole check.

    Parameters
    ----------
    candidates : Candidates
        All of them.
    indices : sequence of int
        Which.

    Returns
    -------
    list of Proposal
        Each the same as `rigcheck.studies.check.check` of the candidate alone.
    """
    asked = [_as_written(candidates, index) for index in indices]
    looked = [examine(work, for_verdict=True) for work in works_together(asked)]
    return [Proposal(verdict=one.verdict, findings=one.findings, work=one.work) for one in looked]
