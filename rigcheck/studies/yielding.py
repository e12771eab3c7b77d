"""Wires that yield: the bend they take on under the prop, the bend that stays, and where the prop then settles."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.plasticity import (
    LastingSet,
    PlasticSection,
    bending_moment,
    lasting_set,
    set_at_offset,
    shared_curvature,
    yielding_curvature,
)
from rigcheck.mechanics.statics import SectionForces
from rigcheck.model import Prop, Shot
from rigcheck.studies.evaluate import LARGE_SHARE, STATIONS, Outcome, bent_by
from rigcheck.studies.layers import Layer, forces_by_place, layers_of, piece_axes, pieces_of
from rigcheck.studies.rigs import GRAVITY, build_frame, take
from rigcheck.studies.slack import can_slacken
from rigcheck.studies.strength_used import Use, state_under

__all__ = ["Bend", "bend_of", "left_when_taken_off", "with_yielding"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Places along a piece where its moment is taken: the quartic through the five stations, which is the moment
# itself where the piece carries its even weight and end loads (a parabola).
_FINE = np.linspace(0.0, 1.0, 33)
_TO_FINE = np.vander(_FINE, 5) @ np.linalg.inv(np.vander(STATIONS, 5))
# The same for a piece with a sleeve, whose curvature is added up by the trapezoidal rule.
_FINER = np.linspace(0.0, 1.0, 257)
_TO_FINER = np.vander(_FINER, 5) @ np.linalg.inv(np.vander(STATIONS, 5))
_MOST_ROUNDS = 60
_MOST_WORK = 60_000
"""As in `LargeSettled.work`: rounds that take more together, as of supports that hang folded, are given up."""
_FAR_BEYOND = 0.1
"""Share of the load from which several supports keep a bend, below which the bend is not looked for: a choice."""
_CLOSE = 1e-6
"""Change of the settled place, in free lengths, at which the bend and the moments that make it fit each other."""
_FITS = 1e-4
"""What the bend of several supports may still be off, over all of it."""
_SHARE = 1e-3
_STEPS = (0.1, 30.0)
"""Least and most that a step of the bend may be cut to or stretched by."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Bend:
    """What the bend of a support does to the prop, to first order.

    Attributes
    ----------
    displacement, tip_displacement : array, shape (3,)
        Of the centre of mass, and of the support's tip [m].
    rotation : array, shape (3,)
        Of the prop [rad].
    """

    displacement: Array
    tip_displacement: Array
    rotation: Array


def with_yielding(shot: Shot, prop: Prop, still: Outcome) -> Outcome:
    """The settled state with what yielding adds to it.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    still : Outcome
        At rest, all of it elastic; of a batch of one.

    Returns
    -------
    Outcome
        With ``yielding`` set where the support begins to keep a bend; else the same.

    Notes
    -----
    While the load is on, a piece that is past its onset has the curvature ``kappa(M)`` of its elastic-plastic
    law, of which ``kappa(M) - M / EI`` is added to the elastic state. With small displacements the moments of
    one support are known from statics, and the sum is exact. Where the prop moves by more than a tenth of the
    free length, that part becomes a natural curvature of the geometrically exact rod, found again from the moments
    until both fit. Small motion about this state is elastic: the first swing has already stretched what yields.
    Several supports share their load anew as they yield, which the same search finds whatever they move. The
    shakedown of the first swings is left out.
    """
    rig = still.rig
    if not still.solved[0] or all(support.form == "line" for support in rig.supports):
        return still
    layers = layers_of(shot, prop, rig, still.parts)
    state = state_under(still, layers, still.forces)
    if not state.uses or state.onset >= 1:
        return still
    unknown = replace(still, yielding=np.full((1, 3), np.nan))
    if len(rig.supports) > 1:
        # Lines that go slack, and a head that gives under several supports, are not in the exact state.
        beyond = rig.axis_stiffness is not None or any(can_slacken(support) for support in rig.supports)
        beyond |= state.onset < _FAR_BEYOND
        return unknown if beyond else _far(still, layers) or unknown
    if state.full_plastic <= 1:
        return unknown
    bend = bend_of(still, layers, state.uses, hung=True)
    if bend is None:
        return unknown
    reach = float(rig.supports[0].free_length[0])
    total = still.displacement[0] + bend.displacement
    if not still.large[0] and (
        still.settings.displacement == "linear" or np.linalg.norm(total) <= LARGE_SHARE * reach
    ):
        return replace(
            still,
            displacement=still.displacement + bend.displacement,
            rotation=still.rotation + bend.rotation,
            tip_displacement=still.tip_displacement + bend.tip_displacement,
            yielding=bend.displacement[None],
        )
    return _far(still, layers) or unknown


def _far(still: Outcome, layers: list[Layer]) -> Outcome | None:
    """The same without the limit to small displacements; None where it folds on the way, or takes too long.

    One support: the bend follows from the moments, which statics nearly give, and is put in as it is. Several: the
    bend follows from the curvature, for which there is always a moment, and each step is stretched or cut by what the
    one before did (B. Irons and R. Tuck, Int. J. Numer. Methods Eng. 1, 1969, 275-277, from memory).
    """
    several = len(still.rig.supports) > 1
    reach = min(float(support.free_length[0]) for support in still.rig.supports)
    elastic = still if still.large[0] else bent_by(still, None)
    now, natural = elastic, None
    last, size = None, 1.0
    work = 0
    for _ in range(_MOST_ROUNDS):
        each = int(now.large_work[0])
        work += each
        if not now.solved[0] or work + each > _MOST_WORK:
            return None
        wanted = _natural(now, layers, natural if several else None, by_curvature=several)
        if wanted is None:
            return None
        if several:
            natural = natural or [np.zeros_like(one) for one in wanted]
            left = [one - other for one, other in zip(wanted, natural, strict=True)]
            if last is not None:
                change = [one - other for one, other in zip(left, last, strict=True)]
                over = sum(float(np.sum(one * one)) for one in change)
                along = sum(float(np.sum(one * other)) for one, other in zip(last, change, strict=True))
                size = float(np.clip(-size * along / over, *_STEPS)) if over > 0 else 1.0
            natural, last = [one + size * other for one, other in zip(natural, left, strict=True)], left
        else:
            natural = wanted
        after = bent_by(still, natural)
        moved = float(np.linalg.norm(after.displacement - now.displacement))
        now = after
        fits = last is None or _norm(last) <= _FITS * _norm(natural)
        if fits and moved <= _CLOSE * reach:
            return replace(now, yielding=now.displacement - elastic.displacement)
    return None


def left_when_taken_off(still: Outcome) -> Array | None:
    """Displacement of the centre of mass that stays of several supports that have yielded [m].

    Parameters
    ----------
    still : Outcome
        Of `with_yielding`; the first variant is used.

    Returns
    -------
    array, shape (3,), or None
        None where the bend of the supports is not known.

    Notes
    -----
    The supports keep the bend that yielding added and spring back elastically against each other. Soft wire yields
    backwards a little on the way (see `rigcheck.mechanics.plasticity`), so a little less stays: the safe side. Found
    under two small shares of the weight, and carried on in a straight line to none.
    """
    from rigcheck.mechanics.large import settle_large

    if still.natural is None:
        return None
    frame, _ = build_frame(take(still.rig, slice(0, 1)), order=still.settings.order)
    places = []
    for share in (_SHARE, 2 * _SHARE):
        down = np.array([0.0, -share * GRAVITY, 0.0])
        settled = settle_large(
            frame.supports, frame.prop, down, natural=still.natural, shear=still.settings.shear
        )
        if not (settled.converged[0] and settled.stable[0]):
            return None
        places.append(settled.prop_displacement[0])
    return np.asarray(2 * places[0] - places[1])


def _norm(parts: list[Array]) -> float:
    return float(np.sqrt(sum(float(np.sum(part * part)) for part in parts)))


def _natural(
    still: Outcome, layers: list[Layer], before: list[Array] | None, *, by_curvature: bool
) -> list[Array] | None:
    """Curvature that yielding adds along the pieces of each support, (1, pieces, n, 3); None where one folds."""
    uses = {use.layer.index: use for use in state_under(still, layers, still.forces).uses}
    at = forces_by_place(still.parts, still.forces)
    pieces: list[list[Array]] = [[] for _ in still.rig.supports]
    for members in pieces_of(layers):
        found = [uses[layer.index] for layer in members if layer.index in uses]
        part = members[0].part
        forces = at[part.support, part.segment]
        curvature = np.zeros((len(_FINER), 3))
        own = None if before is None else before[part.support][0, part.segment]
        if any(use.onset < 1 for use in found) or (own is not None and own.any()):
            if not _is_known(members, found):
                return None
            about_y, about_z = _TO_FINER @ forces.moment_y[0], _TO_FINER @ forces.moment_z[0]
            folds: Flags
            if len(members) > 1:
                added_y, added_z, folds = _sleeved_curvature(members, uses, about_y, about_z, hung=True)
            elif by_curvature and bool(found[0].law.is_round):
                added_y, added_z = _beyond_elastic(_left_law(found[0]), about_y, about_z, own)
                folds = np.zeros(len(_FINER), dtype=bool)
            else:
                added_y, added_z, folds = yielding_curvature(
                    _left_law(found[0]), moment_y=about_y, moment_z=about_z
                )
            if np.any(folds):
                return None
            curvature[:, 1], curvature[:, 2] = added_y, added_z
        pieces[part.support].append(curvature)
    return [np.stack(one)[None] for one in pieces]


def _beyond_elastic(
    law: PlasticSection, about_y: Array, about_z: Array, own: Array | None
) -> tuple[Array, Array]:
    """What a round section's whole curvature has beyond the elastic one of the moment it holds at that curvature."""
    stiff = float(law.bending_stiffness_y)
    whole_y, whole_z = about_y / stiff, about_z / stiff
    if own is not None:
        whole_y, whole_z = whole_y + own[:, 1], whole_z + own[:, 2]
    whole = np.hypot(whole_y, whole_z)
    held = bending_moment(law, whole)
    share = np.where(whole > 0, 1 - held / np.where(whole > 0, stiff * whole, 1.0), 0.0)
    return share * whole_y, share * whole_z


def _left(level: float, use: Use) -> float:
    """Share of the yield strength that torsion and axial force leave to bending, up to a level of stress."""
    torsion = float(use.torsion.max())
    return float(np.sqrt(max(level**2 - torsion**2, 0.0))) - float(use.axial.max())


def bend_of(still: Outcome, layers: list[Layer], uses: list[Use], *, hung: bool = False) -> Bend | None:
    """What stays bent of a single support, or what yielding adds under the load; None where it is not known.

    Parameters
    ----------
    still : Outcome
        At rest; the first variant is used.
    layers : list of Layer
        Of the support.
    uses : list of Use
        What the settled load does to those that can yield.
    hung : bool
        False for what stays when the prop is taken off, True for what yielding adds while it hangs.

    Returns
    -------
    Bend or None

    Notes
    -----
    Each piece keeps a bend and is otherwise rigid; to first order their effects on the centre of mass add.
    None too where a piece has just too little left for its moment, which the safe sum in `_left` can bring
    about shortly before it folds.
    """
    rig = still.rig
    by_layer = {use.layer.index: use for use in uses}
    at = forces_by_place(still.parts, still.forces)
    total, at_tip, turned = np.zeros(3), np.zeros(3), np.zeros(3)
    tip = rig.supports[0].points[0, -1]
    for members in pieces_of(layers):
        found = [by_layer[layer.index] for layer in members if layer.index in by_layer]
        if all(use.onset >= 1 for use in found):
            continue
        if not _is_known(members, found):
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
                hung=hung,
            )
        else:
            bend = _sleeved_set(members, by_layer, forces, length, hung=hung)
        if bool(bend.collapses):
            return None
        total += set_at_offset(bend, axes @ (rig.centre_of_mass[0] - first.stop)) @ axes
        at_tip += set_at_offset(bend, axes @ (tip - first.stop)) @ axes
        turned += np.array([0.0, bend.rotation_y[-1], bend.rotation_z[-1]]) @ axes
    return Bend(displacement=total, tip_displacement=at_tip, rotation=turned)


def _is_known(members: list[Layer], found: list[Use]) -> bool:
    """Whether the bend of a piece can be computed."""
    if any(layer.yield_strength is None and not layer.brittle for layer in members):
        return False
    if any(_left(use.layer.onset_fraction, use) <= 0 for use in found):
        return False
    return not (len(members) > 1 and members[0].support.form == "strip")


def _left_law(use: Use) -> PlasticSection:
    left = _left(1.0, use)
    layer = use.layer
    assert layer.yield_strength is not None
    return layer.law(left * layer.yield_strength, _left(layer.onset_fraction, use) / left)


def _sleeved_set(
    members: list[Layer], uses: dict[int, Use], forces: SectionForces, length: float, *, hung: bool
) -> LastingSet:
    """The bend that stays in a sleeved piece, or that yielding adds to it."""
    about_y, about_z = _TO_FINER @ forces.moment_y[0], _TO_FINER @ forces.moment_z[0]
    curvature_y, curvature_z, folds = _sleeved_curvature(members, uses, about_y, about_z, hung=hung)
    collapses = bool(np.any(folds))
    step = length / (len(_FINER) - 1)

    def integral(values: Array) -> Array:
        return np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * step)])

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


def _sleeved_curvature(
    members: list[Layer], uses: dict[int, Use], about_y: Array, about_z: Array, *, hung: bool
) -> tuple[Array, Array, Flags]:
    """Curvature of layers that share it, which stays or which yielding adds, and where they fold together.

    ``M(kappa) = sum M_i(kappa)``; what cannot set stays on its elastic line. The sum unloads as its members do, on
    the loading curve doubled, so ``kappa(M) - 2 kappa(M / 2)`` stays; under the load it is ``kappa(M) - M / EI``.
    """
    laws = [_left_law(uses[layer.index]) for layer in members if layer.index in uses]
    rigid = sum(
        layer.youngs_modulus * float(layer.part.section.second_moment_y[0])
        for layer in members
        if layer.index not in uses
    )
    moment: Array = np.asarray(np.hypot(about_y, about_z))
    # The laws' own plastic moments, which torsion and axial force have lowered, bound what the piece holds.
    holds = np.inf if rigid > 0 else float(sum(float(law.plastic_moment_y) for law in laws))
    folds = np.asarray(moment >= holds * (1 - 1e-9))
    if folds.any():
        nothing: Array = np.full(moment.shape, np.nan)
        return nothing, nothing, folds
    loaded = shared_curvature(laws, moment, elastic=rigid)
    if hung:
        added = loaded - moment / (rigid + sum(float(law.bending_stiffness_y) for law in laws))
    else:
        added = loaded - 2 * shared_curvature(laws, moment / 2, elastic=rigid)
    per_moment: Array = np.where(moment > 0, np.maximum(added, 0.0) / np.where(moment > 0, moment, 1.0), 0.0)
    return per_moment * about_y, per_moment * about_z, folds
