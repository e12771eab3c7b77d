"""The bend that stays when the prop comes off: how far the prop has then moved, and the finding on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.stock import practice
from rigcheck.studies.contributions import skipped
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.layers import Layer, still_and_moving
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import SupportRig
from rigcheck.studies.set_advice import SHAKE_DOWN, Loads, gentler, set_cures
from rigcheck.studies.strength_used import State, state_under
from rigcheck.studies.words import length_words, mass_words, share_words, way_words
from rigcheck.studies.yielding import bend_of, left_when_taken_off

__all__ = ["SET_LABEL", "SET_LIMIT", "Bent", "check_set"]

Array = NDArray[np.float64]

_YIELDS = {
    "yield": "the surface reaches the 0.2 % proof stress",
    "elastic limit": "the surface reaches the elastic limit",
    "rupture": "the surface reaches the strength",
}
SET_LABEL = "lasting bend"
SET_LIMIT = 5e-4
"""Lasting bend at the prop up to which it is a caution [m]: a choice, stated as one."""

_LEAST_SAG = 5e-5
"""Sag from yielding that is left out of the words [m]."""
_NOUNS = {"tube": "tube", "strip": "strip", "strand": "strand", "threaded": "rod", "line": "line"}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Bent:
    """What stays bent.

    Attributes
    ----------
    contribution : Contribution
        Finding ``set``, and the masses of prop at which a bend begins to stay, yields and folds as figures.
    first_yield : float
        Multiple of the settled load at which a surface reaches its yield strength.
    displacement : float or None
        Of the centre of mass when the prop is hung and taken off again [m]; 0 where nothing sets, None where
        that is not known or the support folds.
    """

    contribution: Contribution
    first_yield: float
    displacement: float | None


def check_set(still: Outcome, motion: MotionOutcome | None, layers: list[Layer]) -> Bent:
    """Check what stays bent after the prop was hung, and whether the move can bend it.

    Parameters
    ----------
    still : Outcome
        At rest and solved; the first variant is used.
    motion : MotionOutcome or None
        Moving.
    layers : list of Layer
        Of all supports.

    Returns
    -------
    Bent
    """
    state = state_under(still, layers, still.forces)
    if not state.uses:
        return Bent(
            contribution=_no_set(state, layers),
            first_yield=np.inf,
            displacement=None if state.unknown else 0.0,
        )
    loads = Loads.of(still, layers, state)
    sets = state.onset < 1
    value: float | None = 0.0
    where = np.zeros(3)
    if sets:
        several = len(still.rig.supports) > 1
        if several:
            stays = left_when_taken_off(still)
        else:
            bend = None if state.full_plastic <= 1 else bend_of(still, layers, state.uses)
            stays = None if bend is None else bend.displacement
        if stays is None:
            value = None
        else:
            value, where = float(np.linalg.norm(stays)), stays
    elif state.unknown:
        value = None
    moving = np.inf if motion is None or sets else _moving_onset(still, motion, layers, state)
    finding = _finding(still, state, loads, value, where, moving)
    figures = [
        Figure(label=label, value=loads.words(multiple) + ("" if loads.is_taut else " of prop"), note=note)
        for label, multiple, note in (
            ("a bend begins to stay at", state.onset, ""),
            ("first yield at", state.first_yield, _YIELDS[state.worst.layer.stock.working_strength_kind]),
            ("folds at", state.full_plastic, "full plastic moment"),
        )
        if np.isfinite(multiple)
    ]
    assumptions = []
    if sets:
        assumptions.append(
            f"A lasting bend of up to {SET_LIMIT * 1e3:g} mm at the prop counts as a caution, more as a fail:"
            " a choice."
        )
    if any(use.onset < 1 and use.layer.onset_fraction < 1 for use in state.uses):
        share = practice("soft-set-onset").datum
        assumptions.append(
            f"Soft wire begins to keep a bend at {share_words(share.value)} of its proof stress ({share.mark})."
        )
    return Bent(
        contribution=Contribution(
            findings=(finding,), figures=tuple(figures), assumptions=tuple(assumptions)
        ),
        first_yield=state.first_yield,
        displacement=value,
    )


def _moving_onset(still: Outcome, motion: MotionOutcome, layers: list[Layer], state: State) -> float:
    """Multiple of all load, settled and moving, from which a bend stays; infinite where plainly not near."""
    known = [use.layer for use in state.uses]
    least = min(layer.onset_fraction * (layer.yield_strength or 0.0) for layer in known)
    if float(still.peak_stress[0] + motion.swing_stress[0]) <= least:
        return np.inf
    return state_under(still, layers, still_and_moving(still, motion)).onset


def _no_set(state: State, layers: list[Layer]) -> Contribution:
    if state.unknown:
        return Contribution(findings=(skipped("set", SET_LABEL, _unknown_strength(state)),))
    if all(layer.part.is_line for layer in layers):
        return Contribution(
            findings=(skipped("set", SET_LABEL, "A tied line only pulls; it has no bend to keep."),)
        )
    return Contribution(
        findings=(
            Finding(
                id="set",
                label=SET_LABEL,
                status=Status.PASS,
                value=0.0,
                limit=SET_LIMIT * 1e3,
                unit="mm",
                says="It keeps no bend: it springs back or breaks, and the strength check looks at that.",
            ),
        )
    )


def _unknown_strength(state: State) -> str:
    return f"No yield strength is known for {' and '.join(state.unknown)} at this size."


def _finding(
    still: Outcome,
    state: State,
    loads: Loads,
    value: float | None,
    where: Array,
    moving: float,
) -> Finding:
    noun = "sleeve" if state.worst.layer.sleeve is not None else _noun(state.worst.layer.support)
    from_on = f"it keeps a bend from {loads.words(state.onset)} on"
    folds = f" and folds at {loads.words(state.full_plastic)}" if np.isfinite(state.full_plastic) else ""
    limit: float | None = SET_LIMIT * 1e3
    advice: tuple[str, ...] = ()
    if state.onset >= 1 and state.unknown:
        return skipped("set", SET_LABEL, _unknown_strength(state))
    if state.onset >= 1 and moving >= 1:
        status = Status.PASS
        more = (
            f"; it would keep a bend from {loads.words(state.onset)} on" if np.isfinite(state.onset) else ""
        )
        says = f"It springs back straight when the prop comes off{more}."
    elif state.onset >= 1:
        status = Status.CAUTION
        says = f"Hung at rest the {noun} stays straight, but the swing of the move can bend it for good."
        advice = gentler(state, moving)
    else:
        advice = set_cures(still, state, loads)
        hung = f"This {noun} bends for good when the prop is hung"
        soft = state.worst.layer.onset_fraction
        if soft < 1:
            from_on += f" ({share_words(soft)} of its yield)"
        several = len(still.rig.supports) > 1
        if state.full_plastic <= 1 and not several:
            status = Status.FAIL
            says = (
                f"{hung}, and folds under it: {from_on}{folds}, and the prop weighs {mass_words(loads.mass)}."
            )
        elif value is None:
            status = Status.FAIL if state.first_yield < 1 else Status.CAUTION
            why = " where several supports share the load" if several else " here"
            says = f"{hung}: {_sagging(still)}{from_on}{folds}; how much of it stays is not computed{why}."
        else:
            status = Status.CAUTION if value <= SET_LIMIT else Status.FAIL
            stays = f"{length_words(value)} {way_words(where)} stay at the prop's place"
            says = f"{hung}: {_sagging(still)}when it is taken off, {stays}; {from_on}{folds}."
            if status is Status.CAUTION:
                advice = (SHAKE_DOWN, *advice)
    return Finding(
        id="set",
        label=SET_LABEL,
        status=status,
        value=None if value is None else value * 1e3,
        limit=limit,
        unit="mm",
        says=says,
        advice=advice,
    )


def _noun(support: SupportRig) -> str:
    return _NOUNS.get(support.form, "wire")


def _sagging(still: Outcome) -> str:
    """How much of the sag comes from yielding, in words; nothing where that is next to nothing."""
    if still.yielding is None or not np.isfinite(still.yielding[0]).all():
        return ""
    more = -float(still.yielding[0, 1])
    if more < _LEAST_SAG:
        return ""
    return f"of its {length_words(float(still.sag[0]))} of sag {length_words(more)} is the wire giving way; "
