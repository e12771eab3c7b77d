"""The bend that stays when the prop comes off: how far the prop has then moved, and the finding on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.plasticity import (
    LastingSet,
    PlasticSection,
    bending_moment,
    lasting_set,
    set_at_offset,
)
from rigcheck.mechanics.statics import SectionForces
from rigcheck.stock import practice
from rigcheck.studies.contributions import skipped
from rigcheck.studies.evaluate import STATIONS, Outcome
from rigcheck.studies.layers import Layer, forces_by_place, piece_axes, pieces_of, still_and_moving
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import SupportRig
from rigcheck.studies.set_advice import SHAKE_DOWN, Loads, gentler, set_cures
from rigcheck.studies.strength_used import State, Use, state_under
from rigcheck.studies.words import length_words, mass_words, way_words

__all__ = ["SET_LABEL", "SET_LIMIT", "Bent", "check_set"]

Array = NDArray[np.float64]

SET_LABEL = "lasting bend"
SET_LIMIT = 5e-4
"""Lasting bend at the prop up to which it is a caution [m]: a choice, stated as one."""

# Places along a piece where its moment is taken: the quartic through the five stations, which is the moment
# itself where the piece carries its even weight and end loads (a parabola).
_FINE = np.linspace(0.0, 1.0, 33)
_TO_FINE = np.vander(_FINE, 5) @ np.linalg.inv(np.vander(STATIONS, 5))
# The same for a piece with a sleeve, whose curvature is added up by the trapezoidal rule.
_FINER = np.linspace(0.0, 1.0, 257)
_TO_FINER = np.vander(_FINER, 5) @ np.linalg.inv(np.vander(STATIONS, 5))
_NOUNS = {"tube": "tube", "strip": "strip", "strand": "strand", "threaded": "rod", "line": "line"}
_MOST_DOUBLINGS = 200
_HALVINGS = 60


@dataclass(frozen=True, kw_only=True, eq=False)
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
        moved = None if several or state.full_plastic <= 1 else _displacement(still, layers, state.uses)
        if moved is None:
            value = None
        else:
            value, where = float(np.linalg.norm(moved)), moved
    elif state.unknown:
        value = None
    moving = np.inf if motion is None or sets else _moving_onset(still, motion, layers, state)
    finding = _finding(still, state, loads, value, where, moving)
    figures = [
        Figure(label=label, value=f"{loads.words(multiple)} of prop", note=note)
        for label, multiple, note in (
            ("a bend begins to stay at", state.onset, ""),
            ("first yield at", state.first_yield, "the surface reaches the 0.2 % proof stress"),
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
            f"Soft wire begins to keep a bend at {share.value:.0%} of its proof stress ({share.mark})."
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
        several = len(still.rig.supports) > 1
        if state.full_plastic <= 1 and not several:
            status = Status.FAIL
            says = (
                f"This {noun} folds under the prop: {from_on}{folds},"
                f" and the prop weighs {mass_words(loads.mass)}."
            )
        elif value is None:
            status = Status.FAIL if state.first_yield < 1 else Status.CAUTION
            why = " where several supports share the load" if several else " here"
            says = f"{hung}: {from_on}{folds}; how far the prop moves is not computed{why}."
        else:
            status = Status.CAUTION if value <= SET_LIMIT else Status.FAIL
            stays = f"{length_words(value)} {way_words(where)} stay at the prop's place"
            says = f"{hung}: when it is taken off, {stays}; {from_on}{folds}."
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


# -- how far the prop moves -------------------------------------------------------------------------------


def _left(level: float, use: Use) -> float:
    """Share of the yield strength that torsion and axial force leave to bending, up to a level of stress."""
    torsion = float(use.torsion.max())
    return float(np.sqrt(max(level**2 - torsion**2, 0.0))) - float(use.axial.max())


def _displacement(still: Outcome, layers: list[Layer], uses: list[Use]) -> Array | None:
    """Lasting displacement of the centre of mass of a single support [m]; None where it is not known.

    Each piece keeps a bend and is otherwise rigid; to first order their effects on the centre of mass add.
    None too where a piece has just too little left for its moment, which the safe sum in `_left` can bring
    about shortly before it folds.
    """
    rig = still.rig
    by_layer = {use.layer.index: use for use in uses}
    at = forces_by_place(still.parts, still.forces)
    total = np.zeros(3)
    for members in pieces_of(layers):
        found = [by_layer[layer.index] for layer in members if layer.index in by_layer]
        if all(use.onset >= 1 for use in found):
            continue
        if any(layer.yield_strength is None and not layer.brittle for layer in members):
            return None
        if any(_left(use.layer.onset_fraction, use) <= 0 for use in found):
            return None
        if len(members) > 1 and members[0].support.form == "strip":
            return None
        first = members[0]
        length = float(np.linalg.norm(first.stop - first.start))
        axes = piece_axes(first.support.form, first.start, first.stop)
        forces = at[first.part.support, first.part.segment]
        if len(members) == 1:
            bend = lasting_set(
                _left_law(found[0]),
                stations=_FINE * length,
                moment_y=_TO_FINE @ forces.moment_y[0],
                moment_z=_TO_FINE @ forces.moment_z[0],
            )
        else:
            bend = _sleeved_set(members, by_layer, forces, length)
        if bool(bend.collapses):
            return None
        total += set_at_offset(bend, axes @ (rig.centre_of_mass[0] - first.stop)) @ axes
    return total


def _left_law(use: Use) -> PlasticSection:
    left = _left(1.0, use)
    layer = use.layer
    assert layer.yield_strength is not None
    return layer.law(left * layer.yield_strength, _left(layer.onset_fraction, use) / left)


def _sleeved_set(
    members: list[Layer], uses: dict[int, Use], forces: SectionForces, length: float
) -> LastingSet:
    """The bend that stays in a sleeved piece, whose layers share one curvature.

    ``M(kappa) = sum M_i(kappa)``; what cannot set stays on its elastic line. The sum unloads as its members
    do, on the loading curve doubled, so ``kappa(M) - 2 kappa(M / 2)`` stays.
    """
    laws = [_left_law(uses[layer.index]) for layer in members if layer.index in uses]
    rigid = sum(
        layer.youngs_modulus * float(layer.part.section.second_moment_y[0])
        for layer in members
        if layer.index not in uses
    )
    about_y, about_z = _TO_FINER @ forces.moment_y[0], _TO_FINER @ forces.moment_z[0]
    moment = np.hypot(about_y, about_z)
    # The laws' own plastic moments, which torsion and axial force have lowered, bound what the piece holds.
    holds = np.inf if rigid > 0 else float(sum(float(law.plastic_moment_y) for law in laws))
    collapses = bool(moment.max() >= holds * (1 - 1e-9))
    if collapses:
        stays = np.full(moment.shape, np.nan)
    else:
        stays = _shared_curvature(laws, rigid, moment) - 2 * _shared_curvature(laws, rigid, moment / 2)
    with np.errstate(invalid="ignore"):
        per_moment = np.where(moment > 0, np.maximum(stays, 0.0) / moment, 0.0)
    step = length / (len(_FINER) - 1)

    def integral(values: Array) -> Array:
        return np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * step)])

    curvature_y, curvature_z = per_moment * about_y, per_moment * about_z
    rotation_y, rotation_z = integral(curvature_y), integral(curvature_z)
    return LastingSet(
        curvature_y=curvature_y,
        curvature_z=curvature_z,
        rotation_y=rotation_y,
        rotation_z=rotation_z,
        displacement_y=integral(rotation_z),
        displacement_z=-integral(rotation_y),
        peak_strain=np.asarray(np.nan),
        sets=np.asarray(True),
        collapses=np.asarray(collapses),
    )


def _shared_curvature(laws: list[PlasticSection], rigid: float, moment: Array) -> Array:
    """Curvature at which bonded layers hold a moment of 0 or more together, by halving."""

    def held(curvature: Array) -> Array:
        return np.asarray(sum((bending_moment(law, curvature) for law in laws), rigid * curvature))

    low = moment / (rigid + sum(float(law.bending_stiffness_y) for law in laws))
    high = 2 * low
    for _ in range(_MOST_DOUBLINGS):
        short = held(high) < moment
        if not short.any():
            break
        high = np.where(short, 2 * high, high)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        short = held(middle) < moment
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return (low + high) / 2
