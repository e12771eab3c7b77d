"""Lines pull and never push: which of them go slack, and the rig at rest on the others.

A line that would have to push is taken out, the rest is solved again, and a line that is then stretched comes
back in, until the set fits. What is left out pushes nothing, stretches nothing and swings nothing; half its own
weight still hangs on the prop.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.statics import SectionForces
from rigcheck.studies.evaluate import Outcome, each
from rigcheck.studies.rigs import GRAVITY, Rig, SupportRig, take

__all__ = ["can_slacken", "let_go", "line_pull", "line_swing", "may_push", "without"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

_MOST_ROUNDS = 12
_NOTHING = 1e-7
"""Push, in weights of the prop, below which a line counts as just hanging there."""
_STRETCH = 1e-9
"""Stretch, in free lengths, from which a slack line is taut again."""


def can_slacken(support: SupportRig) -> bool:
    """Whether a support only pulls: a tied line, or a thin wire that was pulled taut.

    Parameters
    ----------
    support : SupportRig
        One of a rig.

    Returns
    -------
    bool
    """
    return support.form == "line" or support.tension is not None


def may_push(support: SupportRig) -> Array:
    """Compression a support bears before it goes limp [N], shape (B,).

    Parameters
    ----------
    support : SupportRig
        One that `can_slacken`.

    Returns
    -------
    array, shape (B,)
        Nothing for a tied line; Euler's load between hinges, ``pi^2 EI / L^2``, for a taut wire.
    """
    if support.form == "line":
        return np.zeros(len(support.diameter))
    section = support.section
    stiff = support.material.youngs_modulus * np.minimum(section.second_moment_y, section.second_moment_z)
    return np.asarray(np.pi**2 * stiff / support.free_length**2)


def line_pull(still: Outcome) -> Array:
    """Mean tension along each support at rest [N]; compression is negative.

    Parameters
    ----------
    still : Outcome
        At rest.

    Returns
    -------
    array, shape (B, supports)
    """
    return _mean_axial(still.parts, still.forces, len(still.rig.supports))


def line_swing(still: Outcome, forces: list[SectionForces]) -> Array:
    """Mean tension that section forces of the move bring to each support [N].

    Parameters
    ----------
    still : Outcome
        At rest, for the places of the forces.
    forces : list of SectionForces
        Bounds on what the move adds, as in ``MotionOutcome.swing_forces``.

    Returns
    -------
    array, shape (B, supports)
    """
    return _mean_axial(still.parts, forces, len(still.rig.supports))


def _mean_axial(parts: list[Any], forces: list[SectionForces], count: int) -> Array:
    places = sorted({(part.support, part.segment) for part in parts})
    pulls: list[list[Array]] = [[] for _ in range(count)]
    for (support, _), force in zip(places, forces, strict=True):
        pulls[support].append(force.axial.mean(axis=1))
    return np.stack([np.mean(own, axis=0) for own in pulls], axis=1)


def let_go(outcome: Outcome, settle: Callable[[Rig, bool], Outcome]) -> Outcome:
    """Take out the lines that would push.

    Parameters
    ----------
    outcome : Outcome
        Of a batch with all its lines in place, by linear theory.
    settle : callable
        Computes an outcome of a rig; its second argument asks for linear theory only.

    Returns
    -------
    Outcome
        With ``slack`` set. Variants of which every support goes slack, or for which no set of taut lines is in
        keeping with the state they give, are not solved.

    Notes
    -----
    A unilateral (contact-like) problem: pull N >= 0, slack gap g >= 0, N g = 0 for every line. The set is
    found by exchange, first by linear theory and then by the theory that the state asks for. A set that comes
    up a second time ends the search without a solution.

    With T the pull that a line had before the prop was hung, along e from its tip to its root, the balance of
    the given shape counted on T e; without the line the prop feels ``-T e`` more. (Where the pulls balance each
    other, what is left is just the pull of the others.)
    """
    rig = outcome.rig
    lines = np.array([can_slacken(support) for support in rig.supports])
    taut = np.ones((rig.batch, len(lines)), dtype=bool)
    first = outcome
    outcome, taut, _ = _exchange(outcome, taut, lines, lambda part: settle(part, True))
    exact = _on(first, taut, lambda part: settle(part, False))
    outcome, taut, fits = _exchange(exact, taut, lines, lambda part: settle(part, False))
    return replace(
        outcome, solved=outcome.solved & fits, reached=np.where(fits, outcome.reached, 0.0), slack=~taut
    )


def _exchange(
    outcome: Outcome, taut: Flags, lines: Flags, settle: Callable[[Rig], Outcome]
) -> tuple[Outcome, Flags, Flags]:
    """Exchange lines until none pushes and no slack one is stretched: outcome, set, and whether that was reached."""
    rig = outcome.rig
    full = outcome
    seen = [{tuple(row)} for row in taut]
    fits = np.ones(rig.batch, dtype=bool)
    least = np.stack(
        [
            may_push(support) if one else np.zeros(rig.batch)
            for support, one in zip(rig.supports, lines, strict=True)
        ],
        axis=1,
    )
    nothing = _NOTHING * GRAVITY * rig.mass[:, None]
    for _ in range(_MOST_ROUNDS):
        pushed = taut & lines & (line_pull(outcome) < -(least + nothing))
        stretched = ~taut & _is_stretched(outcome)
        wanted = (taut & ~pushed) | stretched
        changed = np.flatnonzero(fits & np.any(wanted != taut, axis=1))
        for row in changed:
            key = tuple(wanted[row])
            if key in seen[row]:
                fits[row] = False
            seen[row].add(key)
        changed = changed[fits[changed]]
        if not len(changed):
            return outcome, taut, fits
        taut = np.where(np.isin(np.arange(rig.batch), changed)[:, None], wanted, taut)
        outcome = _on(full, taut, settle, outcome, changed)
    fits[changed] = False
    return outcome, taut, fits


def _is_stretched(outcome: Outcome) -> Flags:
    """Whether each support would be longer than it is without load, from root to settled tip."""
    rig = outcome.rig
    result = np.zeros((rig.batch, len(rig.supports)), dtype=bool)
    for index, support in enumerate(rig.supports):
        if not can_slacken(support):
            continue
        tip = support.points[:, -1] + _carried(outcome, support.points[:, -1])
        apart = np.linalg.norm(tip - support.points[:, 0], axis=1)
        length = support.free_length
        if support.tension is not None:
            section = support.section
            length = length / (1 + support.tension / (support.material.youngs_modulus * section.area))
        result[:, index] = apart > length * (1 + _STRETCH)
    return result


def _carried(outcome: Outcome, place: Array) -> Array:
    """How far the settled prop carries a place that is fixed to it, (B, 3)."""
    arm = place - outcome.rig.centre_of_mass
    small = np.cross(outcome.rotation, arm)
    angle = np.linalg.norm(outcome.rotation, axis=1)[:, None]
    over = np.where(angle > 0, angle, 1.0)
    axis = outcome.rotation / over
    across = np.cross(axis, arm)
    whole = np.sin(angle) * across + (1 - np.cos(angle)) * np.cross(axis, across)
    return np.asarray(outcome.displacement + np.where(outcome.large[:, None], whole, small))


# -- the rig without some of its lines ----------------------------------------------------------------------


def _on(
    full: Outcome,
    taut: Flags,
    settle: Callable[[Rig], Outcome],
    base: Outcome | None = None,
    chosen: Index | None = None,
) -> Outcome:
    """The outcome on the taut supports only; variants that are not `chosen` are kept from `base`."""
    result = full if base is None else base
    chosen = np.arange(full.rig.batch) if chosen is None else chosen
    for row in np.unique(taut[chosen], axis=0):
        members = chosen[np.all(taut[chosen] == row, axis=1)]
        some = take(full.rig, members)
        if row.all():
            result = _put(result, members, settle(some))
        elif row.any():
            result = _put(result, members, _spread(full, settle(without(some, row)), some, row))
        else:
            result = _fallen(result, members)
    return result


def without(rig: Rig, row: Flags) -> Rig:
    """The rig on some of its supports, with what the others leave behind as a steady push.

    Parameters
    ----------
    rig : Rig
        With all its supports.
    row : array of bool, shape (supports,)
        Which of them stay.

    Returns
    -------
    Rig
    """
    push = np.zeros((rig.batch, 6)) if rig.push is None else rig.push.copy()
    for support, kept in zip(rig.supports, row, strict=True):
        if kept:
            continue
        tip = support.points[:, -1]
        force = np.zeros((rig.batch, 3))
        weight = GRAVITY * support.material.density * support.section.area * support.free_length
        force[:, 1] = -weight / 2
        if support.tension is not None:
            way = support.points[:, -2] - tip
            force -= support.tension[:, None] * way / np.linalg.norm(way, axis=1)[:, None]
        push[:, :3] += force
        push[:, 3:] += np.cross(tip - rig.centre_of_mass, force)
    return replace(
        rig,
        supports=tuple(support for support, kept in zip(rig.supports, row, strict=True) if kept),
        push=push,
        carriers=rig.carriers or len(rig.supports),
    )


def _spread(full: Outcome, found: Outcome, rig: Rig, row: Flags) -> Outcome:
    """The outcome in the layout of all supports; what is slack bears nothing."""
    places = sorted({(part.support, part.segment) for part in full.parts})

    def forces(given: list[SectionForces]) -> list[SectionForces]:
        rest = iter(given)
        nothing = each(given[0], np.zeros_like)
        return [next(rest) if row[support] else nothing for support, _ in places]

    def reactions(given: list[Array]) -> list[Array]:
        rest = iter(given)
        return [next(rest) if kept else np.zeros((rig.batch, 3)) for kept in row]

    dynamics = found.dynamics
    result = replace(
        found,
        rig=rig,
        forces=forces(found.forces),
        root_force=reactions(found.root_force),
        root_moment=reactions(found.root_moment),
        tip_force=reactions(found.tip_force),
        dynamics=replace(
            dynamics, forces=forces(dynamics.forces), follow_forces=forces(dynamics.follow_forces)
        ),
    )
    return replace(result, tip_displacement=_carried(result, rig.supports[0].points[:, -1]))


def _fallen(outcome: Outcome, members: Index) -> Outcome:
    """Nothing holds these variants."""
    solved, reached = outcome.solved.copy(), outcome.reached.copy()
    solved[members], reached[members] = False, 0.0
    return replace(outcome, solved=solved, reached=reached)


_KEPT = ("rig", "settings", "parts", "slack", "yielding", "natural", "moved", "large_work")


def _put(base: Outcome, members: Index, found: Outcome) -> Outcome:
    """The outcome with what was found of some variants."""
    kept = {name: getattr(base, name) for name in _KEPT}
    if len(members) == base.rig.batch:
        return replace(found, **kept)
    count = max(base.dynamics.angular_frequency.shape[1], found.dynamics.angular_frequency.shape[1])
    base, found = (replace(outcome, dynamics=outcome.dynamics.widened(count)) for outcome in (base, found))
    names = [item.name for item in fields(base) if item.name not in _KEPT]
    return replace(
        base, **{name: _over(getattr(base, name), getattr(found, name), members) for name in names}
    )


def _over(old: Any, new: Any, members: Index) -> Any:
    if isinstance(old, np.ndarray):
        result = old.copy()
        result[members] = new
        return result
    if isinstance(old, list):
        return [_over(one, other, members) for one, other in zip(old, new, strict=True)]
    return replace(
        old,
        **{
            item.name: _over(getattr(old, item.name), getattr(new, item.name), members)
            for item in fields(old)
        },
    )
