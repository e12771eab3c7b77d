"""What is said about graded candidates: what fails, why not a thinner one, what was taken for granted."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.candidates import Candidates
from rigcheck.studies.choose.grades import FINDINGS, Graded
from rigcheck.studies.choose.reach import LONGEST
from rigcheck.studies.choose.results import Candidate
from rigcheck.studies.choose.shortlist import Proposal, Proposals
from rigcheck.studies.grading import NOMINAL_PIXEL
from rigcheck.studies.results import Status

__all__ = ["assumptions_of", "by_luck", "what_fails", "why_not_thinner"]

Array = NDArray[np.float64]


def what_fails(
    candidates: Candidates, graded: Graded, index: int, proposal: Proposal | None
) -> tuple[str, ...]:
    """What does not pass, in words with its values; with what the whole check found where that was made."""
    return tuple(dict.fromkeys((*_fails(candidates, graded, index), *_also(proposal))))


def _fails(candidates: Candidates, graded: Graded, index: int) -> tuple[str, ...]:
    if graded.too_soft[index]:
        return ("it is far too soft and would hang down",)
    if not np.isfinite(candidates.clamp_diameters[candidates.item[index]]):
        return ("the grip is too short to hold it",)
    limits = candidates.task.limits
    scale, unit = (NOMINAL_PIXEL * 1e3, "mm") if candidates.task.eye is None else (1.0, "px")
    found = []
    for name in FINDINGS:
        if graded.ranks[name][index] < 1:
            continue
        value = graded.values[name][index]
        if not np.isfinite(value):
            text = "no settled state" if name != "settle" else "it never comes to rest"
        elif name == "yield-factor":
            text = f"strength factor {value:.3g}"
        elif name == "buckling":
            text = f"buckling factor {value:.3g}"
        elif name == "sag":
            text = f"sag {value * 1e3:.3g} mm"
        elif name == "residual-wobble":
            text = f"wobble {value * scale:.3g} {unit}, limit {limits.wobble * scale:.3g}"
        else:
            text = f"swings on for {value:.3g} s, limit {limits.settle:.2g}"
        found.append(text)
    if not found and graded.rank[index] > 0:
        found.append(
            "a check of it would ask about a value" if limits.hazard != "overhead" else "load overhead"
        )
    return tuple(dict.fromkeys(found))


def _also(proposal: Proposal | None) -> tuple[str, ...]:
    """What fails or is a caution beside the findings that all candidates are graded on."""
    if proposal is None:
        return ()
    return tuple(
        f"{item.label} ({item.status.value})"
        for item in proposal.findings
        if item.status in (Status.CAUTION, Status.FAIL) and item.id not in (*FINDINGS, *_TOLD)
    )


_TOLD = ("overhead", "doubtful-value")
"""Findings that `_fails` has words for."""


def why_not_thinner(
    candidates: Candidates,
    graded: Graded,
    width: Array,
    shown: list[int],
    proposals: Proposals,
    made: Callable[[int], Candidate],
) -> str:
    """Say why the thickest choice that is thinner than the best does not do as well."""
    if not shown:
        return ""
    best = shown[0]
    rank = np.array([proposals.rank(index, int(graded.rank[index])) for index in range(len(width))])
    thinner = np.flatnonzero(
        (np.round(width * 1e4) < np.round(width[best] * 1e4)) & (rank > rank[best]) & ~graded.too_soft
    )
    if not len(thinner):
        return ""
    same = np.array([candidates.items[candidates.item[index]].material for index in thinner])
    mine = same == candidates.items[candidates.item[best]].material
    if mine.any():
        thinner = thinner[mine]
    nearest = int(thinner[np.lexsort((rank[thinner], candidates.count[thinner], -width[thinner]))[0]])
    found = made(nearest)
    return f"The next thinner, {found.words}, does not: {'; '.join(found.fails)}."


def by_luck(best: tuple[Candidate, ...], length_mm: float) -> str:
    """Say which pass only because the move happens to end in step with their swing.

    Parameters
    ----------
    best : tuple of Candidate
        With their reach.
    length_mm : float
        Free length they were tried with.

    Returns
    -------
    str
        Empty where none does.
    """
    short = [
        one.words
        for one in best
        if one.verdict is Status.PASS
        and one.longest_reach_mm is not None
        and one.longest_reach_mm < min(length_mm, LONGEST * 1e3) - _ROUNDING
    ]
    if not short:
        return ""
    return (
        f"By luck at this length: {', '.join(short)}. The move ends in step with the swing; some shorter lengths do"
        " not pass, so go by the chance and the reach."
    )


_ROUNDING = 1.0
"""Reach is in whole millimetres."""


def assumptions_of(candidates: Candidates, graded: Graded, held: NDArray[np.bool_]) -> tuple[str, ...]:
    """What was taken for granted in grading them; `held` says which of them the grip is long enough for."""
    prop = candidates.prop
    said = [
        f"Supports run as the first one of the file does, {candidates.free_length() * 1e3:.4g} mm free"
        + (f", all in the same clamp ({prop.support[0].clamp})." if prop.support[0].clamp else "."),
    ]
    if (candidates.count > 1).any():
        said.append(
            f"Two stand one above the other and three in a triangle, {candidates.spacing * 1e3:.3g} mm apart"
            " (side by side where they hang), each as wide in the picture as one."
        )
    if graded.too_soft.any():
        said.append(
            f"{int(graded.too_soft.sum()):,} were set aside as far too soft: by linear theory they would sag by more"
            " than their own free length."
        )
    if graded.too_weak.any():
        said.append(
            f"{int(graded.too_weak.sum()):,} droop and are too weak or fold by linear theory already; they fail"
            " without further figures."
        )
    if (~held).any():
        said.append(f"{int((~held).sum())} were left out: the grip is too short for their diameter.")
    if prop.support[0].sleeve:
        said.append("Sleeves of the file are left out: each candidate is bare.")
    if candidates.task.eye is None:
        said.append("No [camera] is given: widths are in mm, wobble is graded as if a pixel spanned 0.1 mm.")
    said.append(
        "All are graded on strength, buckling, sag, wobble and settling; those shown had every check of this prop, so"
        " some that were graded a pass may have been passed over. How close props come is left to rigcheck check."
    )
    if candidates.is_straight():
        linear = "it" if candidates.task.settings.displacement == "large" else "that of several supports"
        said.append(
            f"Reach is to the first length that does not pass, in whole millimetres; {linear} is by linear theory."
        )
    return (*said, *candidates.reading.assumptions)
