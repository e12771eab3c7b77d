"""How far to raise, shift and tilt the mount so that the settled prop sits on its mark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.contributions import skipped
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import GRAVITY, build_frame, take
from rigcheck.studies.slack import can_slacken
from rigcheck.studies.words import capitalised, listed
from rigcheck.studies.work import Work

__all__ = ["MountOffset", "mount_offsets", "offsets"]

Array = NDArray[np.float64]

_LABEL = "mount offset"
_LEAST_SHIFT = 5e-5
"""Shifts below this are left out of the words [m]: nobody sets a mount finer."""
_LEAST_TURN = np.deg2rad(0.05)
"""Turns below this are left out of the words [rad]."""
_SMALL_TURN, _SMALL_TURN_LEVEL = 0.01, 0.02
"""Turn of the prop up to which the tilt may be taken from the settled state as it is [rad], for any support and for a
level one: off by the square of it there; where the weight runs along the support it changes the stiffness too."""
_STEEP = 0.3
_LEVEL = 1e-5
"""Turn that a levelled prop may have left [rad]."""
_SLOW = 0.9
"""Where a turn of the mount leaves more than this share of the prop's, nothing levels it."""
_MOST_TURNS = 60
_TENS = 10.0


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class MountOffset:
    """How the whole mount is set off from where it would be if nothing gave.

    Attributes
    ----------
    shift : array, shape (3,)
        [m], right, up, toward; made after the turn.
    turn : array, shape (3,)
        Rotation vector about the first root [rad].
    """

    shift: Array
    turn: Array


def mount_offsets(still: Outcome) -> tuple[MountOffset, MountOffset | None]:
    """The two ways to bring the settled prop back to its mark.

    Parameters
    ----------
    still : Outcome
        At rest and solved; the first variant is used.

    Returns
    -------
    MountOffset, MountOffset or None
        A shift alone; and a turn about the first root that also levels the prop, with the shift that then is
        left. None where no turn of the mount levels it, or none is looked for: a line tilts nothing, and what
        yields would yield elsewhere.

    Notes
    -----
    A shift of everything changes nothing else, so ``-u`` is exact. For the turn, seen from the mount gravity
    points along ``R^T g`` when the mount is turned by R; there the prop settles displaced by u and turned by Q.
    It hangs straight where ``R Q = 1``, and its centre of mass c is then on its mark with the shift
    ``c - root - R (c + u - root)``. R is found from ``R <- (R Q)^T R``, with the geometrically exact state at each
    turn. Where the prop turns so little that its square is finer than a mount is set, ``R = Q^T`` of the settled
    state is taken (derived here).
    """
    moved, turned = still.displacement[0], still.rotation[0]
    arm = still.rig.centre_of_mass[0] - still.rig.supports[0].points[0, 0]
    alone = MountOffset(shift=-moved, turn=np.zeros(3))
    if still.yielding is not None or any(can_slacken(support) for support in still.rig.supports):
        return alone, None
    base = still.rig.axis_stiffness is not None and len(still.rig.supports) > 1
    angle = float(np.linalg.norm(turned))
    away = float(np.linalg.norm(arm))
    level = abs(float(arm[1])) < _STEEP * away
    small = angle < (_SMALL_TURN_LEVEL if level else _SMALL_TURN) and angle**2 * away < _LEAST_SHIFT
    if base or (not still.large[0] and small):
        if still.large[0]:
            return alone, None
        return alone, MountOffset(shift=arm - _turned(-turned, arm + moved), turn=-turned)
    return alone, _levelled(still, arm)


def _levelled(still: Outcome, arm: Array) -> MountOffset | None:
    """Turn and shift with which the prop hangs straight on its mark; None where no turn does that."""
    from rigcheck.mechanics.large import settle_large
    from rigcheck.mechanics.turns import conjugate, from_vector, product, rotation_matrix, rotation_vector

    frame, _ = build_frame(take(still.rig, slice(0, 1)), order=still.settings.order)
    turn = from_vector(-still.rotation[:1])
    last = np.inf
    for _ in range(_MOST_TURNS):
        down = GRAVITY * rotation_matrix(conjugate(turn)) @ np.array([0.0, -1.0, 0.0])
        settled = settle_large(frame.supports, frame.prop, down, shear=still.settings.shear)
        if not (settled.converged[0] and settled.stable[0]):
            return None
        held = product(turn, from_vector(settled.prop_rotation))
        left = float(np.linalg.norm(rotation_vector(held)))
        if left < _LEVEL:
            moved = rotation_matrix(turn)[0] @ (arm + settled.prop_displacement[0])
            return MountOffset(shift=arm - moved, turn=rotation_vector(turn)[0])
        if left > _SLOW * last:
            return None
        last, turn = left, product(conjugate(held), turn)
    return None


def _turned(vector: Array, place: Array) -> Array:
    """A place turned about the origin by a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    if angle == 0:
        return place
    axis = vector / angle
    across = np.cross(axis, place)
    return np.asarray(place + np.sin(angle) * across + (1 - np.cos(angle)) * np.cross(axis, across))


def offsets(work: Work) -> Contribution:
    """Say how to set the mount so that the settled prop sits on its mark.

    Parameters
    ----------
    work : Work
        One prop computed.

    Returns
    -------
    Contribution
        Finding ``offsets``, whose value is how far to raise the mount by a shift alone.
    """
    if not work.solved:
        reason = "There is no settled state to set the mount by."
        return Contribution(findings=(skipped("offsets", _LABEL, reason),))
    still = work.still
    alone, level = mount_offsets(still)
    points = still.rig.supports[0].points[0]
    shift = _shift_words(alone.shift)
    tilt, both = "", ""
    if level is not None:
        tilt = _turn_words(level.turn, points[-1] - points[0])
        both = ", then ".join(filter(None, [tilt, _shift_words(level.shift)]))
    advice: tuple[str, ...] = ()
    if shift:
        advice = (f"{capitalised(shift)}, and {work.prop.name} settles on its mark.",)
    if tilt:
        advice += (
            f"{'Or ' if shift else ''}{both if shift else capitalised(both)}; then it also hangs straight.",
        )
    figures = [Figure(label="mount, shift alone", value=shift or "no offset needed")]
    if level is not None:
        figures.append(
            Figure(
                label="mount, shift and tilt",
                value=both or "no offset needed",
                note="tilted about the root of the first support",
            )
        )
    says = "Set the mount off before the prop is hung, and the weight brings it to its mark."
    if still.yielding is not None:
        says = "Set the mount off, and the prop comes to its mark once it has hung and the support has given way."
    return Contribution(
        findings=(
            Finding(
                id="offsets",
                label=_LABEL,
                status=Status.PASS,
                value=float(alone.shift[1]) * 1e3,
                unit="mm",
                says=says if advice else "The mount needs no offset.",
                advice=advice,
            ),
        ),
        figures=tuple(figures),
    )


_SIDEWAYS = {
    0: ("{} to the right", "{} to the left"),
    2: ("{} toward the camera", "{} away from the camera"),
}
_TILTS = (
    ("tilt the tip to the right by {}", "tilt the tip to the left by {}"),
    ("tilt the tip up by {}", "tilt the tip down by {}"),
    ("tilt the tip toward the camera by {}", "tilt the tip away from the camera by {}"),
)
_ORDER = (1, 0, 2)


def _shift_words(shift: Array) -> str:
    """For example ``raise the mount 3.2 mm and shift it 0.4 mm to the left``; empty for nothing."""
    raised = abs(shift[1]) >= _LEAST_SHIFT
    lift = [f"{'raise' if shift[1] > 0 else 'lower'} the mount {_length(shift[1])}"] if raised else []
    aside = [
        _SIDEWAYS[axis][0 if shift[axis] > 0 else 1].format(_length(shift[axis]))
        for axis in (0, 2)
        if abs(shift[axis]) >= _LEAST_SHIFT
    ]
    if aside:
        lift.append(f"shift {'it' if raised else 'the mount'} {listed(aside)}")
    return listed(lift)


def _turn_words(turn: Array, along: Array) -> str:
    """As in ``tilt the tip up by 1.1 deg``: where the turn takes the tip, and that about the support."""
    along = along / np.linalg.norm(along)
    tip = np.cross(turn, along)
    parts = [
        _TILTS[axis][0 if tip[axis] > 0 else 1].format(_degrees(tip[axis]))
        for axis in _ORDER
        if abs(tip[axis]) >= _LEAST_TURN
    ]
    about = float(turn @ along)
    if abs(about) >= _LEAST_TURN:
        way = "counterclockwise" if about > 0 else "clockwise"
        parts.append(f"turn the support {_degrees(about)} {way} as seen from the prop")
    return listed(parts)


def _degrees(angle: float) -> str:
    size = abs(float(np.rad2deg(angle)))
    return f"{size:.2g} deg" if size < _TENS else f"{size:.1f} deg"


def _length(length: float) -> str:
    """As fine as a mount is set: two digits, or tenths of a millimetre."""
    size = abs(length) * 1e3
    return f"{size:.2g} mm" if size < _TENS else f"{size:.1f} mm"
