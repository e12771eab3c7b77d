"""All causes of one take, weighed against each other: faults of the rig, swings from elsewhere, shakes on the way."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.explain.modes import Predicted
from rigcheck.studies.explain.way import OnTheWay
from rigcheck.studies.explain.weights import (
    MODEL_ERROR,
    Damping,
    Evidence,
    Source,
    Weighed,
    weigh,
    weigh_rest,
    weigh_source,
)

__all__ = ["PRIOR", "Ranked", "Ranking", "rank"]

Array = NDArray[np.float64]

PRIOR = {
    "as-described": 0.30,
    "clamp-softer": 0.16,
    "clamp-play": 0.08,
    "prop-heavier": 0.09,
    "prop-further-out": 0.06,
    "support-thinner": 0.08,
    "joint-flexing": 0.09,
    "air": 0.03,
    "camera": 0.07,
    "roll-runout": 0.05,
    "drive-rate": 0.05,
}
"""How often each is the culprit before anything is seen: common practice, no source; the clamp first."""
_QUIET_BACKGROUND = 0.1
"""What is left of the prior of the camera where a fixed point was followed: its shake is taken off already."""
_MOVES = 1.0
"""Standard deviations by which a fault has to move a frequency to count as a cause: a choice."""
_ANY = Damping(median=0.01, low=0.0005, high=0.1, steady=0.3)
_DRIVEN = Damping(median=0.0005, low=0.0001, high=0.01, steady=0.7)


@dataclass(frozen=True, kw_only=True, eq=False)
class Ranked:
    """One cause with its chance.

    Attributes
    ----------
    id : str
        As in `Cause.id`; ``as-described`` stands for all modes of the rig as it is.
    chance : float
        0 to 1.
    predicted, weighed : Predicted, Weighed or None
        Of a fault of the rig.
    source : Source or None
        Of a swing from elsewhere, with the component that it is.
    component : int or None
        Which one.
    item : OnTheWay or None
        Of a shake on the way.
    """

    id: str
    chance: float
    predicted: Predicted | None = None
    weighed: Weighed | None = None
    source: Source | None = None
    component: int | None = None
    item: OnTheWay | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Ranking:
    """All causes, most probable first.

    Attributes
    ----------
    causes : tuple of Ranked
        Chances sum to 1, unless nothing was seen at all.
    rig : Ranked or None
        The most probable one that is a rig, faulty or as described; None without a swing or a bench test.
    """

    causes: tuple[Ranked, ...]
    rig: Ranked | None


def rank(
    predicted: list[Predicted],
    seen: Evidence,
    damping: Damping,
    *,
    sources: list[Source],
    on_the_way: list[OnTheWay],
    background: float | None,
) -> Ranking:
    """Weigh all causes.

    Parameters
    ----------
    predicted : list of Predicted
        The rig as described first, then with each fault.
    seen : Evidence
        What is seen after the stop, and on the bench.
    damping : Damping
        Of the rig as described.
    sources : list of Source
        What swings at known frequencies after the stop.
    on_the_way : list of OnTheWay
        What shakes the prop while it moves.
    background : float or None
        Amplitude of what a fixed point does; None where none was followed.

    Returns
    -------
    Ranking

    Notes
    -----
    What is seen after the stop, what shakes on the way and what the background does are three sights; each is
    weighed by its amplitude (and chance), since the question is what wobbles most.
    """
    after = _after_the_stop(predicted, seen, damping, sources, background) if _anything(seen) else []
    rigs = [item for item in after if item.weighed is not None and item.id != "air"]
    size = max((component.amplitude for component in seen.components), default=1.0) if after else 0.0
    parts = [(size, item) for item in after]
    if background:
        parts.append((background, Ranked(id="camera", chance=1.0)))
    parts += [(item.amplitude, Ranked(id=item.id, chance=item.chance, item=item)) for item in on_the_way]
    weights = np.array([amplitude * item.chance for amplitude, item in parts])
    whole = float(weights.sum())
    causes = []
    for weight, (_, item) in zip(weights, parts, strict=True):
        share = float(weight) / whole if whole > 0 else 0.0
        causes.append(
            Ranked(
                id=item.id,
                chance=share,
                predicted=item.predicted,
                weighed=item.weighed,
                source=item.source,
                component=item.component,
                item=item.item,
            )
        )
    return Ranking(
        causes=tuple(sorted(causes, key=lambda item: -item.chance)),
        rig=max(rigs, key=lambda item: item.chance, default=None),
    )


def _anything(seen: Evidence) -> bool:
    return bool(seen.components) or seen.bench is not None


def _after_the_stop(
    predicted: list[Predicted],
    seen: Evidence,
    damping: Damping,
    sources: list[Source],
    background: float | None,
) -> list[Ranked]:
    base = predicted[0]
    loose = Damping(
        median=1.5 * damping.median, low=damping.low, high=max(3 * damping.high, 0.03), steady=damping.steady
    )
    found: list[tuple[float, Ranked]] = []

    def add(kind: str, evidence: float, **more: object) -> None:
        found.append((PRIOR[kind] * evidence, Ranked(id=kind, chance=0.0, **more)))  # type: ignore[arg-type]

    idle = 0.0
    for one in predicted:
        kind = one.fault.id
        weighed = weigh(one, seen, loose if kind in ("clamp-softer", "joint-flexing") else damping)
        counts = _counts(base, one, weighed, seen)
        share = float(weighed.values @ counts)
        idle += PRIOR[kind] * (1 - share) * weighed.evidence
        values = weighed.values * counts
        if share > 0:
            weighed = replace(
                weighed,
                values=values / share,
                place=weighed.place if counts[weighed.place] else int(values.argmax()),
            )
        add(kind, share * weighed.evidence, predicted=one, weighed=weighed)
    # A fault that leaves what is seen as it was explains nothing: then the rig swings as described.
    found[0] = (found[0][0] + idle, found[0][1])
    if seen.components:
        rattling = Damping(median=0.015, low=0.003, high=0.08)
        played = weigh(base, seen, rattling, plays=True)
        add("clamp-play", played.evidence, predicted=base, weighed=played)
        kept = weigh(base, seen, Damping(median=0.002, low=0.0002, high=0.02, steady=0.3), driven=True)
        add("air", kept.evidence, predicted=base, weighed=kept)
        rest = weigh_rest(base, seen, damping)
        evidence, which = weigh_source(rest, seen, None, _ANY)
        quiet = 1.0 if background is None else _QUIET_BACKGROUND
        add("camera", quiet * evidence, component=int(which.argmax()))
        for source in sources:
            evidence, which = weigh_source(rest, seen, source, _DRIVEN)
            add(source.id, evidence, source=source, component=int(which.argmax()))
    whole = sum(weight for weight, _ in found)
    if not whole > 0:
        return []
    found = [(weight, item) for weight, item in found if weight > 0]
    return [
        Ranked(
            id=item.id,
            chance=weight / whole,
            predicted=item.predicted,
            weighed=item.weighed,
            source=item.source,
            component=item.component,
        )
        for weight, item in found
    ]


def _counts(base: Predicted, faulty: Predicted, weighed: Weighed, seen: Evidence) -> Array:
    """1 for each value of a fault that moves something seen by more than its ranges leave open, else 0."""
    if faulty is base:
        return np.ones(1)
    moved = np.zeros(len(faulty.fault.values), dtype=bool)
    for mode in weighed.best:
        if mode >= 0:
            own = np.hypot(np.sqrt((base.slopes[mode] ** 2).sum()), MODEL_ERROR)
            moved |= np.abs(faulty.log_frequency[:, mode] - base.log_frequency[0, mode]) > _MOVES * own
    if seen.bench is not None and faulty.log_sag is not None and base.log_sag is not None:
        assert base.sag_slopes is not None  # comes with the sag
        own = np.hypot(np.sqrt((base.sag_slopes**2).sum()), 2 * MODEL_ERROR)
        moved |= np.abs(faulty.log_sag - base.log_sag[0]) > _MOVES * own
    return moved.astype(float)
