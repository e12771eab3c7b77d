"""Graded candidates in order: by verdict, by what shows in the picture, by margin, by what is easy to buy."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.candidates import Candidates
from rigcheck.studies.choose.grades import Graded
from rigcheck.studies.choose.shortlist import Proposals

__all__ = ["as_found", "pareto_front", "pixels_per_metre", "ranked", "visible_width"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

SAME_MARGIN = 1.1
"""Margins within this factor are the same; then what is easier to buy and to shape comes first."""


def visible_width(candidates: Candidates) -> Array:
    """Width of each candidate as the camera sees it, all its supports together [m], shape (candidates,).

    A round support shows its diameter from every side. A strip lies flat: what shows of it follows from the view;
    seen end-on it shows its width.
    """
    size = candidates.sizes
    width = size["diameter"].copy()
    flat = candidates.forms == "strip"
    if flat.any():
        points = candidates.task.rig.supports[0].points[0]
        along = points[-1] - points[0]
        along = along / np.linalg.norm(along)
        eye = candidates.task.eye
        toward = np.array([0.0, 0.0, 1.0]) if eye is None else eye.camera.toward
        level = np.cross(along, [0.0, 1.0, 0.0])
        level = np.array([1.0, 0.0, 0.0]) if np.linalg.norm(level) < 0.1 else level / np.linalg.norm(level)
        across = np.cross(along, toward)
        if np.linalg.norm(across) < 0.1:
            width[flat] = size["width"][flat]
        else:
            across = across / np.linalg.norm(across)
            wide = abs(float(across @ level))
            thin = abs(float(across @ np.cross(along, level)))
            width[flat] = wide * size["width"][flat] + thin * size["thickness"][flat]
    return np.asarray(width[candidates.item] * candidates.count)


def pixels_per_metre(candidates: Candidates) -> float | None:
    """Of the camera at the prop's mark; None without a camera."""
    eye = candidates.task.eye
    if eye is None:
        return None
    mark = candidates.prop.mark
    at = np.zeros(3) if mark is None else np.array([part.m_as("m") for part in mark])
    return float(eye.camera.pixels_per_metre_at(at))


def ranked(candidates: Candidates, graded: Graded, width: Array) -> Index:
    """The order of the candidates, best first; see `choose`."""
    items = candidates.items
    buy = np.array([item.buy_ease for item in items])[candidates.item]
    shape = np.array([item.shape_ease for item in items])[candidates.item]
    with np.errstate(divide="ignore"):
        step = np.floor(np.log(np.maximum(graded.margin, 1e-12)) / np.log(SAME_MARGIN))
    unknown = graded.ranks["yield-factor"] < 0
    keys = (
        np.arange(len(candidates)),
        candidates.count,
        -shape,
        -buy,
        -step,
        np.round(width * 1e4),
        unknown,
        graded.rank,
    )
    return np.lexsort(keys)


def pareto_front(width: Array, graded: Graded) -> Index:
    """Candidates that none beats in visible width and wobble both, thin to thick; only those that do not fail."""
    rows = np.flatnonzero((graded.rank < 2) & np.isfinite(graded.wobble))
    rows = rows[np.lexsort((-graded.margin[rows], graded.wobble[rows], width[rows]))]
    best = np.minimum.accumulate(graded.wobble[rows])
    first = np.ones(len(rows), dtype=bool)
    first[1:] = graded.wobble[rows][1:] < best[:-1]
    return rows[first]


def as_found(order: Index, graded: Graded, proposals: Proposals) -> list[int]:
    """All candidates in order, those that had the whole check where that puts them."""
    rank = {index: proposals.rank(index, int(graded.rank[index])) for index in order.tolist()}
    return sorted(rank, key=rank.__getitem__)
