"""What the camera sees of one prop: how its wobble looks, how far it blurs, and whether its support shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.model import SIDES, Prop, Shot
from rigcheck.motion.keyframes import KeyframePath
from rigcheck.motion.response import free_decay
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.picture.wobble import (
    blur_length,
    exposure_time,
    lookalike_frequencies,
    seen_frequency,
    seen_wobble,
)
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import CAUTION_SHARE
from rigcheck.studies.mode_words import direction_words
from rigcheck.studies.moving import Eye, MotionOutcome, Travel, field_at, is_turning, span
from rigcheck.studies.reading import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import GRAVITY, SupportRig, width_direction
from rigcheck.studies.words import length_words, listed

if TYPE_CHECKING:
    from rigcheck.picture.projection import Camera
    from rigcheck.picture.solids import Shape, Solid
    from rigcheck.picture.visibility import Band

__all__ = ["HIDDEN_AREA", "Carried", "Line", "Swing", "carried", "picturing", "swing"]

Array = NDArray[np.float64]

HIDDEN_AREA = 1.0
"""A support counts as hidden in a frame where less of it shows [px^2]: one pixel, a choice."""
WORTH_MOVING = 0.9
"""Another side is advised where it shows less than this share of what shows now: a choice."""
STILL = 0.01
"""Wobble below which nothing is said of how it looks [px]: a choice."""

_DOWN = np.array([0.0, -GRAVITY, 0.0])
_STRONG = 1e-3
"""Modes that move the prop by less than this share of the strongest follow at once."""
_SAMPLES = 120
"""Samples of the load over the moves; it is straight between them, good to 2e-4 of its largest value."""
_LEAST_IN_STRETCH = 8
_MOST_EVENTS = 20_000
_INSIDE = 1e-9
"""Share of the moves by which samples on both sides of an event stand off it, where an acceleration may jump."""
_BEND_ERROR = 1e-4
"""How far the straight pieces of a bent support may lie off its curve [m]."""
_MOST_BENDS = 12
_LOOKS = 9
"""Frames looked at first; those between two unlike ones follow."""
_LOOKS_TURNING = 65
_POSES = 101
"""Places looked at where no frame rate is given."""
_MOST_FRAMES = 2_000
_MOST_KEYS = 5_000
_SPEED_SAMPLES = 101
"""Places between which the speed is taken; a smooth move's top speed comes out within 0.1 %."""
_RING_SAMPLES = 33
_SIDE_WORDS = {
    "behind": "behind",
    "front": "the front",
    "left": "the left",
    "right": "the right",
    "above": "above",
    "below": "below",
}
_IN_LINE = "in line"
_IN_LINE_WORDS = "straight behind it as the lens sees it"


# -- the settled prop and where its moves carry it ------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """A settled support: straight pieces from root to tip.

    Attributes
    ----------
    points : array, shape (n + 1, 3)
        Root to tip [m], from where the first tip was before anything gave.
    diameters : array, shape (n,)
        Outer diameter of each piece [m]; of a strip its width.
    thickness : float or None
        Of a strip [m].
    wide : array, shape (n, 3), or None
        Directions in which the pieces of a strip are wide.
    sleeved : array of bool, shape (n,)
        Whether a tube lies over the piece.
    """

    points: Array
    diameters: Array
    thickness: float | None
    wide: Array | None
    sleeved: NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class Carried:
    """A settled prop with its supports, moved as one body.

    Attributes
    ----------
    shape, size, axis
        The prop as a solid [m]; the axis is that of a cylinder or disc. No shape where no size is given.
    centre : array, shape (3,)
        Its settled centre of mass, which is taken as its middle [m].
    orientation : array, shape (3, 3)
        Turns its own right, up and toward into how it leans when settled.
    lines : tuple of Line
        Its supports.
    base : array, shape (3,)
        From the axes of the rig to those of the frame [m].
    travels : tuple of Travel
        Its moves.
    """

    shape: Shape | None
    size: Array
    axis: int
    centre: Array
    orientation: Array
    lines: tuple[Line, ...]
    base: Array
    travels: tuple[Travel, ...]

    def poses(self, times: Array) -> tuple[Array, Array]:
        """Where the moves have carried it: rotations (n or 1, 3, 3) and places (n, 3) of its origin [m]."""
        if not self.travels:
            return np.eye(3)[None], np.broadcast_to(self.base, (len(times), 3))
        at = field_at(self.travels, 0, times)
        rotation = at.rotation if is_turning(self.travels) else np.eye(3)[None]
        return rotation, self.base + at.position

    def middles(self, rotation: Array, position: Array) -> Array:
        """Places of its centre of mass, (n, 3) [m]."""
        return np.asarray(position + rotation @ self.centre)

    def solid(self, rotation: Array, position: Array) -> Solid:
        """The prop in poses; only where it has a shape."""
        from rigcheck.picture.solids import Solid

        assert self.shape is not None  # asked for by whoever calls
        return Solid(
            shape=self.shape,
            size=self.size,
            axis=self.axis,
            centre=self.middles(rotation, position),
            orientation=rotation @ self.orientation,
        )


def carried(prop: Prop, reading: Reading, still: Outcome) -> Carried:
    """Give the settled prop as a body that its moves carry.

    Parameters
    ----------
    prop : Prop
        For its mark and shape.
    reading : Reading
        For its moves.
    still : Outcome
        At rest and solved; the first variant is used.

    Returns
    -------
    Carried

    Notes
    -----
    The mark is where the centre of mass is when it has settled: the mount is taken to be shifted for that and not
    to be tilted, so the prop leans by what it turns under its weight. Between root and tip the support follows
    the cubic that starts where the root holds it and ends with the tip's place and slope, ``h = u (3 s^2 - 2 s^3)
    + L (t' - t) (s^3 - s^2)`` at the share s of its length: exact for a straight support that is built in and
    carries an end load, and right at both ends for any other (derived here).
    """
    rig = still.rig
    turn = _rotation(still.rotation[0])
    centre = rig.centre_of_mass[0] + still.displacement[0]
    mark = np.zeros(3) if prop.mark is None else np.array([part.m_as("m") for part in prop.mark])
    size, own, axis = _solid_axes(prop)
    lines = []
    for support in rig.supports:
        tip = support.points[0, -1]
        moved = centre + turn @ (tip - rig.centre_of_mass[0]) - tip
        lines.append(_line(support, moved, turn))
    return Carried(
        shape=prop.shape if prop.size is not None else None,
        size=size,
        axis=axis,
        centre=centre,
        orientation=turn @ own,
        lines=tuple(lines),
        base=mark - centre,
        travels=reading.task.travels,
    )


def _solid_axes(prop: Prop) -> tuple[Array, Array, int]:
    """Sizes of the solid along its own axes [m], those axes as columns, and which of them is its shaft."""
    if prop.size is None:
        return np.zeros(3), np.eye(3), 1
    size = np.array([side.m_as("m") for side in prop.size])
    along = np.array(prop.along)
    axis = int(np.abs(along).argmax())
    if prop.shape in ("box", "sphere") or abs(along[axis]) > 1 - 1e-9:
        return size, np.eye(3), axis
    # A slanting shaft: its length and the widths across are what the box of those sizes measures that way.
    first = np.cross(along, np.eye(3)[np.abs(along).argmin()])
    first /= np.linalg.norm(first)
    axes = np.stack([np.cross(along, first), along, first], axis=1)
    return np.linalg.norm(size[:, None] * axes, axis=0), axes, 1


def _line(support: SupportRig, moved: Array, turn: Array) -> Line:
    points = support.points[0]
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    length = float(steps.sum())
    corners = np.concatenate([[0.0], np.cumsum(steps)]) / length
    corners[-1] = 1.0
    tip_way = (points[-1] - points[-2]) / steps[-1]
    slope = np.zeros(3) if support.form == "line" else turn @ tip_way - tip_way
    shares = [corners]
    if support.form != "line":
        # A chord over the share h lies off a curve by at most h^2 / 8 of its second derivative, which for a cubic
        # is largest at one of the ends.
        ends = 6 * moved - 2 * length * slope, 4 * length * slope - 6 * moved
        curving = max(float(np.linalg.norm(end)) for end in ends)
        pieces = min(_MOST_BENDS, int(np.ceil(np.sqrt(curving / (8 * _BEND_ERROR)))))
        shares.append(np.linspace(0.0, 1.0, max(1, pieces) + 1))
    edges = [float(edge[0]) / length for tube in support.sleeves for edge in (tube.start, tube.end)]
    shares.append(np.clip(edges, 0.0, 1.0))
    places = np.unique(np.concatenate(shares))
    places = places[np.concatenate([[True], np.diff(places) > 1e-9])]
    straight = np.stack([np.interp(places, corners, points[:, axis]) for axis in range(3)], axis=1)
    s = places[:, None]
    if support.form == "line":
        bent = straight + s * moved
    else:
        bent = straight + moved * (3 * s**2 - 2 * s**3) + length * slope * (s**3 - s**2)
    middle = 0.5 * (places[1:] + places[:-1]) * length
    diameters = np.full(len(middle), _outer_diameter(support))
    sleeved = np.zeros(len(middle), dtype=bool)
    for tube in support.sleeves:
        under = (middle > float(tube.start[0])) & (middle < float(tube.end[0]))
        diameters = np.where(under, np.maximum(diameters, float(tube.outer_diameter[0])), diameters)
        sleeved |= under
    wide, thickness = None, None
    if support.form == "strip":
        thickness = float(support.thickness[0])
        flat = width_direction("strip", straight[None])
        assert flat is not None  # a strip has one
        along = np.diff(bent, axis=0)
        along /= np.linalg.norm(along, axis=1, keepdims=True)
        wide = flat[0] - (flat[0] * along).sum(axis=1, keepdims=True) * along
        wide /= np.linalg.norm(wide, axis=1, keepdims=True)
    return Line(points=bent, diameters=diameters, thickness=thickness, wide=wide, sleeved=sleeved)


def _outer_diameter(support: SupportRig) -> float:
    if support.form == "strip":
        return float(support.width[0])
    return float(support.across[0])


def _rotation(vector: Array) -> Array:
    """Matrix of a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    x, y, z = vector
    skew = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    half = np.sinc(angle / (2 * np.pi))
    return np.asarray(np.eye(3) + np.sinc(angle / np.pi) * skew + 0.5 * half**2 * (skew @ skew))


def _sample_times(travels: tuple[Travel, ...], least: int) -> Array | None:
    """Times over the moves with two beside each event; None where there are too many events."""
    events = np.unique(np.concatenate([travel.events(0) for travel in travels]))
    start, stop = span(travels)
    whole = stop - start
    events = events[np.concatenate([[True], np.diff(events) > 1e-6 * whole])]
    if len(events) > _MOST_EVENTS:
        return None
    off = _INSIDE * whole
    wanted = np.maximum(_LEAST_IN_STRETCH, np.ceil(least * np.diff(events) / whole)).astype(int)
    if len(events) > least:
        wanted[:] = 2  # many keys: the acceleration is straight between them
    return np.concatenate(
        [
            np.linspace(begin + off, end - off, count)
            for (begin, end), count in zip(pairwise(events), wanted, strict=True)
        ]
    )


# -- how far it is off its path --------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class Swing:
    """How the prop is off its intended path, and how it rings when the moves have ended.

    Attributes
    ----------
    times : array, shape (n,)
        Over the moves [s].
    reach : array, shape (n,)
        Distance from the path that it does not pass there, whatever the phase of its wobble [m].
    angular_frequency, value, rate : array, shape (m,)
        Of the modes that count: [rad/s], and their state when the moves end.
    shape : array, shape (3, m)
        Movement of the centre of mass in each.
    """

    times: Array
    reach: Array
    angular_frequency: Array
    value: Array
    rate: Array
    shape: Array


def swing(reading: Reading, still: Outcome) -> Swing | None:
    """Follow the deviation from the intended path over the moves.

    Parameters
    ----------
    reading : Reading
        For the moves.
    still : Outcome
        At rest and solved; the first variant is used.

    Returns
    -------
    Swing or None
        None where the course is not known (no moves, or only an acceleration) or has more than 20,000 keys.

    Notes
    -----
    The lag is what the whole rig follows slowly, ``follow . b(t)`` with the field of acceleration b less that of
    the end. To it each mode that counts adds an oscillation ``r = q - q_slow`` whose amplitude ``hypot(r, q' /
    omega)`` changes slowly, so their sum bounds the deviation at that time without asking for the phase. The
    rate of the lag itself stays in, which makes the amplitude too large by ``lag' / omega``.
    """
    travels = reading.task.travels
    if not travels or reading.task.pushes:
        return None
    times = _sample_times(travels, _SAMPLES)
    if times is None:
        return None
    dynamics = still.dynamics
    shape = dynamics.shape[0, :3]
    omega = dynamics.angular_frequency[0]
    weight = np.linalg.norm(shape, axis=0) * np.abs(dynamics.participation[0]).max(axis=1) / omega**2
    strong = weight > _STRONG * weight.max()
    at = field_at(travels, 0, times)
    change = (at.offset - _DOWN).T
    if is_turning(travels):
        change = np.concatenate([change, at.gradient.reshape(-1, 9).T])
    omega, shape = omega[strong], shape[:, strong]
    load = dynamics.participation[0, strong, : len(change)] @ change
    slow = load / omega[:, None] ** 2
    # Before the first move it hangs still in the pose it starts from, where gravity may point another way.
    turned = at.rotation[0].T @ _DOWN - _DOWN
    resting = dynamics.participation[0, strong, :3] @ turned / omega**2
    value, rate = piecewise_linear_response(
        load,
        angular_frequency=omega,
        damping_ratio=still.rig.damping_ratio[0],
        times=times,
        initial=(resting, np.zeros_like(omega)),
    )
    lag = np.linalg.norm(dynamics.follow[0, :3, : len(change)] @ change, axis=0)
    amplitude = np.hypot(value - slow, rate / omega[:, None])
    return Swing(
        times=times,
        reach=lag + np.linalg.norm(shape, axis=0) @ amplitude,
        angular_frequency=omega,
        value=value[:, -1],
        rate=rate[:, -1],
        shape=shape,
    )


# -- the part of the check -------------------------------------------------------------------------------


@dataclass
class _Said:
    findings: list[Finding] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)


_HIDDEN = "hidden support"
_CLEANUP = "clean-up"


def picturing(
    shot: Shot, prop: Prop, reading: Reading, still: Outcome, motion: MotionOutcome | None
) -> Contribution:
    """Say what the camera sees of a prop.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.
    still : Outcome
        At rest; the first variant is used.
    motion : MotionOutcome or None
        Moving.

    Returns
    -------
    Contribution
        Finding ``hidden``; ``false-frequency`` where a wobble that shows is faster than the frames can follow;
        ``cleanup`` where ``[post]`` gives a rate and what else it would cost. Figures on wobble and blur.
    """
    eye = reading.task.eye
    said = _Said()
    if eye is None or shot.camera is None:
        said.findings.append(_skipped("hidden", _HIDDEN, "No [camera] is given."))
    elif not still.solved[0]:
        said.findings.append(_skipped("hidden", _HIDDEN, "There is no settled state to judge it by."))
    else:
        body = carried(prop, reading, still)
        try:
            if motion is not None:
                _wobble(shot, reading, still, motion, eye, said)
            frames = _frames(shot, body)
            if body.travels:
                _course(shot, body, eye.camera, frames, said)
            shown = _hidden(prop, body, eye.camera, frames, said)
        except ValidityError as error:
            said.findings.append(_skipped("hidden", _HIDDEN, f"{str(error)[:1].upper()}{str(error)[1:]}"))
            shown = None
        _cleanup(shot, shown, said)
    if shot.camera is None and shot.post is not None:
        _cleanup(shot, None, said)
    return Contribution(
        findings=tuple(said.findings), figures=tuple(said.figures), assumptions=tuple(said.assumptions)
    )


def _skipped(name: str, label: str, reason: str) -> Finding:
    return Finding(id=name, label=label, status=Status.SKIPPED, says=reason)


# -- wobble ----------------------------------------------------------------------------------------------


def _wobble(
    shot: Shot, reading: Reading, still: Outcome, motion: MotionOutcome, eye: Eye, said: _Said
) -> None:
    """How the wobble after the move looks: its direction, its rate on screen, its blur."""
    camera = shot.camera
    assert camera is not None  # there is an eye
    assert motion.residual_px is not None
    extent = float(motion.residual_px[0])
    if extent < STILL:
        said.figures.append(Figure(label="wobble in the picture", value=f"under {STILL:g} px"))
        return
    way = _picture_way(reading, still, eye)
    said.figures.append(
        Figure(
            label="wobble in the picture",
            value=f"{extent:.3g} px, {direction_words(way)}",
            note=(
                "peak to peak after the moves, in its widest direction"
                if eye.growth is None
                else "peak to peak after the moves, at the farthest point of its outline"
            ),
        )
    )
    if camera.frame_rate is None:
        return
    rate = camera.frame_rate.m_as("Hz")
    shown = rate if camera.playback_rate is None else camera.playback_rate.m_as("Hz")
    size = eye.sizes(motion.amplitudes[0].T)
    true = float(motion.angular_frequency[0, int(size.argmax())]) / (2 * np.pi)
    on_screen, folded = seen_frequency(true, rate, shown)
    seen, is_false = float(on_screen), bool(folded)
    speed = "at its own speed" if shown == rate else f"at {shown / rate:.3g} of its speed"
    said.figures.append(
        Figure(
            label="seen on playback",
            value=f"{seen:.3g} Hz",
            note=f"a false rate: {true:.3g} Hz on set is faster than half of {rate:g} frames a second"
            if is_false
            else f"{true:.3g} Hz on set, shown {speed}",
        )
    )
    alike = lookalike_frequencies(min(seen, shown / 2), rate, shown, highest=2 * rate)
    others = [f"{value:.3g}" for value in alike if abs(value - true) > 1e-6 * rate]
    if others:
        said.figures.append(
            Figure(
                label="would look the same",
                value=f"{listed(others)} Hz",
                note=f"true rates up to {2 * rate:g} Hz that these frames cannot tell from it",
            )
        )
    shutter = camera.shutter_angle.m_as("rad")
    rates = np.array([rate, 2 * rate, rate / 2])
    looks = seen_wobble(
        true,
        extent,
        frame_rate=rates,
        shutter_angle=shutter,
        playback_rate=rates if camera.playback_rate is None else shown,
    )
    said.figures.append(
        Figure(
            label="blur of the wobble",
            value=f"{float(looks.blur[0]):.3g} px",
            note=f"in the frame that catches it fastest, open for {_exposure_words(shutter, rate)}",
        )
    )
    for at in (1, 2):
        frequency = f"{float(looks.frequency[at]):.3g} Hz{', false' if looks.aliased[at] else ''}"
        said.figures.append(
            Figure(
                label=f"the same at {rates[at]:g} fps",
                value=f"{frequency}, {float(looks.extent[at]):.3g} px from frame to frame,"
                f" blur {float(looks.blur[at]):.3g} px",
                note="shown as shot" if camera.playback_rate is None else f"shown at {shown:g} fps",
            )
        )
    if is_false and extent >= CAUTION_SHARE * reading.task.limits.wobble:
        enough = 10 * int(np.ceil(2.5 * true / 10))
        said.findings.append(
            Finding(
                id="false-frequency",
                label="rate of the wobble on screen",
                status=Status.CAUTION,
                value=true,
                limit=rate / 2,
                unit="Hz",
                says=(
                    f"On screen it seems to swing at {seen:.3g} Hz, which is false: these frames cannot follow"
                    f" {true:.3g} Hz."
                ),
                advice=(f"Film a test at {enough} fps or more, where it shows as it is.",),
            )
        )


def _picture_way(reading: Reading, still: Outcome, eye: Eye) -> Array:
    """Right, up and nearer: the direction in which it swings most in the picture after the moves."""
    seen = np.concatenate([eye.jacobian, np.zeros((1, 3)) if eye.growth is None else eye.growth[None]])
    ring = swing(reading, still)
    if ring is None:
        # Only the peak is known: it swings along where a steady push would take it.
        ways = np.array([push.direction for push in reading.task.pushes])
        ways = ways if len(ways) else np.array([travel.direction for travel in reading.task.travels])
        pushed = still.dynamics.follow[0, :3, :3] @ ways.T
        places = (seen @ pushed).T
    else:
        times = np.linspace(0.0, 4 * np.pi / ring.angular_frequency.min(), _RING_SAMPLES)
        course, _ = free_decay(
            ring.value,
            ring.rate,
            angular_frequency=ring.angular_frequency,
            damping_ratio=float(still.rig.damping_ratio[0]),
            times=times,
        )
        places = (seen @ ring.shape @ course).T
    # The principal axis of the places, which lie about the settled one.
    return np.asarray(np.linalg.svd(places)[2][0])


def _exposure_words(shutter: float, rate: float) -> str:
    return f"{float(exposure_time(shutter, rate)) * 1e3:.3g} ms"


@dataclass(frozen=True, kw_only=True, eq=False)
class _Frames:
    """The frames of the moves and the poses that are looked at first, which are worked out in one go.

    Attributes
    ----------
    rate : float or None
        [1/s]; None where none is given, and the frames are then places spread over the moves.
    times : array, shape (count,)
        [s].
    first : int array
        Frames looked at first.
    rotation, position : array
        In those and, last, at the end of the moves.
    course : array
        Times at which the speed is looked at [s].
    course_rotation, course_position : array
        There.
    """

    rate: float | None
    times: Array
    first: NDArray[np.intp]
    rotation: Array
    position: Array
    course: Array
    course_rotation: Array
    course_position: Array


def _frames(shot: Shot, body: Carried) -> _Frames:
    camera = shot.camera
    rate = None if camera is None or camera.frame_rate is None else camera.frame_rate.m_as("Hz")
    if body.travels:
        start, stop = span(body.travels)
        count = _POSES if rate is None else int((stop - start) * rate + 1e-6) + 1
        times = np.linspace(start, stop, count) if rate is None else start + np.arange(count) / rate
        keys = [travel.keys for travel in body.travels if travel.keys is not None]
        looks = _LOOKS if not keys and not is_turning(body.travels) else _LOOKS_TURNING
        # Within each move: a short one may lie between two samples of the whole shot.
        spans = {(start, stop), *((float(one.start[0]), float(one.stop[0])) for one in body.travels)}
        course = np.unique(
            np.concatenate(
                [*(np.linspace(*ends, _SPEED_SAMPLES) for ends in spans), *(_fastest(path) for path in keys)]
            )
        )
    else:
        stop, times, looks, course = 0.0, np.zeros(1), 1, np.zeros(0)
    # Also within each move: a short one may lie between two looks over the whole shot.
    within = [
        np.searchsorted(times, np.linspace(float(travel.start[0]), float(travel.stop[0]), looks))
        for travel in body.travels
    ]
    even = np.linspace(0, len(times) - 1, looks).round().astype(int)
    first = np.unique(np.clip(np.concatenate([even, *within]), 0, len(times) - 1))
    rotation, position = body.poses(np.concatenate([times[first], [stop], course]))
    split = len(first) + 1
    turned, carried_on = (rotation, rotation) if len(rotation) == 1 else (rotation[:split], rotation[split:])
    return _Frames(
        rate=rate,
        times=times,
        first=first,
        rotation=turned,
        position=position[:split],
        course=course,
        course_rotation=carried_on,
        course_position=position[split:],
    )


def _fastest(keys: KeyframePath) -> Array:
    """Times of keys: all of them, or of a long list those about its fastest."""
    middle = int(np.abs(keys.velocity).argmax())
    first = max(0, min(middle - _MOST_KEYS // 2, keys.times.size - _MOST_KEYS))
    return keys.times[first : first + _MOST_KEYS]


def _course(shot: Shot, body: Carried, camera: Camera, frames: _Frames, said: _Said) -> None:
    """Blur at top speed, and how much larger or smaller the prop gets in the picture."""
    times, rotation, position = frames.course, frames.course_rotation, frames.course_position
    middle = body.middles(rotation, position)
    given = shot.camera
    if given is not None and given.frame_rate is not None:
        rate, shutter = given.frame_rate.m_as("Hz"), given.shutter_angle.m_as("rad")
        spots = middle[None]
        if is_turning(body.travels) and body.shape is not None:
            signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
            rim = (0.5 * body.size * signs) @ body.orientation.T
            spots = middle + np.einsum("nij,kj->kni", rotation, rim)
        speed = np.diff(camera.project(spots), axis=1) / np.diff(times)[:, None]
        exposure = float(exposure_time(shutter, rate))
        blur = blur_length(speed, exposure)
        said.figures.append(
            Figure(
                label="blur at top speed",
                value=f"{float(blur.max()):.3g} px",
                note=f"{float(blur.max()) / exposure:.3g} px/s, open for {_exposure_words(shutter, rate)}",
            )
        )
    if camera.distance is not None:
        scale = camera.pixels_per_metre_at(middle)
        change = float(scale[0] / scale[-1]) - 1
        if abs(change) >= 1e-3:
            way = float((middle[-1] - middle[0]) @ camera.toward)
            said.figures.append(
                Figure(
                    label="size in the picture",
                    value=f"starts {abs(change):.2%} {'larger' if change > 0 else 'smaller'} than it ends",
                    note=f"it goes {length_words(way)} {'toward' if way > 0 else 'away from'} the lens",
                )
            )


# -- hidden or not ---------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Shown:
    """What shows of the supports: at rest [px, px, px^2], and frame by frame over the moves.

    `frames` is None where the frames cannot be counted; `total` is the area of all of them together [px^2].
    """

    length: float
    width: float
    area: float
    most: float
    share: float
    frames: int | None
    visible_frames: int
    total: float


def _hidden(prop: Prop, body: Carried, camera: Camera, frames: _Frames, said: _Said) -> _Shown | None:
    if body.shape is None:
        said.findings.append(_skipped("hidden", _HIDDEN, "No size is given, so its outline is not known."))
        return None
    if prop.mark is None:
        said.assumptions.append("No mark is given, so the prop is pictured in the middle of the frame.")
    sides = _sides(body, camera, frames)
    found, areas = _first_look(body, camera, frames, sides)
    shown = _look(body, camera, frames, found)
    order = np.argsort(areas, kind="stable")
    by_side = {sides.names[index]: float(areas[index]) for index in order}
    hides = shown.most < HIDDEN_AREA
    said.findings.append(
        Finding(
            id="hidden",
            label=_HIDDEN,
            status=Status.PASS if hides else Status.CAUTION,
            value=shown.most,
            limit=HIDDEN_AREA,
            unit="px^2",
            says=_shown_words(shown, moves=bool(body.travels)),
            advice=() if hides else _side_advice(by_side, shown, _now(prop)),
        )
    )
    turning = is_turning(body.travels)
    said.figures.append(
        Figure(
            label="support shown, by side",
            value="; ".join(f"{name} {_area_words(area)}" for name, area in by_side.items()),
            note=f"were it straight and unbent, {'at most over the moves' if turning else 'at the end'}",
        )
    )
    said.assumptions += [
        f"A support counts as hidden where less than {HIDDEN_AREA:g} px^2 of it shows: a choice.",
        (
            f"The prop hides like a solid {prop.shape} of its size about its centre of mass; only the prop itself"
            " hides its support."
        ),
        (
            "The mount is shifted so that the settled prop is on its mark, and not tilted: the prop leans as it"
            " settles."
        ),
    ]
    if not hides:
        said.assumptions.append(
            "The picture's height is not known, so what is above or below the frame counts as shown."
        )
    if turning:
        said.assumptions.append("A rolling rig is pictured in the shape in which it settles at the end.")
        said.assumptions.append(
            f"What shows is looked at in {len(frames.first)} frames of the moves, and in all frames between two that"
            " differ; between two that are alike it is taken to stay so."
        )
    return shown


def _placed(line: Line, rotation: Array, position: Array) -> Array:
    """Points of a support in poses, (n, k, 3)."""
    return np.asarray(position[:, None, :] + line.points @ np.swapaxes(rotation, -1, -2))


def _bands(line: Line, rotation: Array, position: Array) -> Iterator[Band]:
    """A support in poses; a strip piece by piece, because it may be wide in another direction in each."""
    from rigcheck.picture.visibility import Band

    points = _placed(line, rotation, position)
    if line.thickness is None or line.wide is None:
        yield Band(points=points, diameter=line.diameters)
        return
    for piece, (diameter, sleeved) in enumerate(zip(line.diameters, line.sleeved, strict=True)):
        ends = points[:, piece : piece + 2]
        if sleeved:
            yield Band(points=ends, diameter=np.asarray(diameter))
        else:
            yield Band(
                points=ends,
                diameter=np.asarray(diameter),
                thickness=line.thickness,
                wide_direction=np.broadcast_to(rotation @ line.wide[piece], position.shape),
            )


def _visible(body: Carried, camera: Camera, rotation: Array, position: Array) -> Array:
    """Length, width and area of the supports that show in poses, (3, n)."""
    found = np.zeros((3, len(position)))
    _add(found, body, camera, rotation, position)
    return found


def _add(found: Array, body: Carried, camera: Camera, rotation: Array, position: Array) -> None:
    """Add what shows of the supports in poses to length, width and area, (3, n)."""
    from rigcheck.picture.visibility import visible_support

    solid = body.solid(rotation, position)
    for line in body.lines:
        for band in _bands(line, rotation, position):
            shows = visible_support(band, camera, solid)
            found[0] += shows.length_px
            found[1] = np.maximum(found[1], shows.width_px)
            found[2] += shows.area_px


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sides:
    """A straight first support from r sides, in m poses: root and tip in the frame's axes, (r, m, 2, 3) [m]."""

    names: tuple[str, ...]
    points: Array
    wide: Array | None
    rotation: Array
    position: Array


def _first_look(body: Carried, camera: Camera, frames: _Frames, sides: _Sides) -> tuple[Array, Array]:
    """What shows in the frames looked at first, (3, n), and from each side at most, (r,) [px^2]."""
    from rigcheck.picture.visibility import Band, visible_support

    count = frames.position.shape[0]
    line = body.lines[0]
    solid = body.solid(sides.rotation, sides.position)
    ways, poses = sides.points.shape[:2]
    if line.wide is None and not line.sleeved.any():
        # One call for both costs little more than one of them: the straight ones get as many pieces.
        share = np.linspace(0.0, 1.0, len(line.points))[:, None]
        straight = sides.points[:, :, :1] * (1 - share) + sides.points[:, :, 1:] * share
        placed = _placed(line, frames.rotation, frames.position)
        own = body.solid(frames.rotation, frames.position)
        both = replace(
            own,
            centre=np.concatenate([own.centre, np.tile(solid.centre, (ways, 1))]),
            orientation=np.concatenate([own.orientation, np.tile(solid.orientation, (ways, 1, 1))]),
        )
        band = Band(
            points=np.concatenate([placed, straight.reshape(-1, *placed.shape[1:])]), diameter=line.diameters
        )
        shows = visible_support(band, camera, both)
        found = np.stack([shows.length_px[:count], shows.width_px[:count], shows.area_px[:count]])
        rest = replace(body, lines=body.lines[1:])
        _add(found, rest, camera, frames.rotation, frames.position)
        return found, shows.area_px[count:].reshape(ways, poses).max(axis=1)
    found = _visible(body, camera, frames.rotation, frames.position)
    band = Band(
        points=sides.points,
        diameter=np.asarray(line.diameters[-1]),
        thickness=line.thickness,
        wide_direction=sides.wide,
    )
    return found, visible_support(band, camera, solid).area_px.max(axis=1)


def _look(body: Carried, camera: Camera, frames: _Frames, found: Array) -> _Shown:
    """Look at the end of the moves and at frames over them, closer where the support comes into view."""
    first, count = frames.first, len(frames.times)
    areas = found[2, :-1]
    length, width, area = (float(value) for value in found[:, -1])
    shows = areas >= HIDDEN_AREA
    between = [
        np.arange(low + 1, high)
        for (low, high), unlike in zip(pairwise(first.tolist()), shows[1:] != shows[:-1], strict=True)
        if unlike
    ]
    more = np.concatenate(between) if between else np.zeros(0, dtype=int)
    more = more[:: max(1, len(more) // _MOST_FRAMES)]
    if len(more):
        areas = np.concatenate([areas, _visible(body, camera, *body.poses(frames.times[more]))[2]])
    looked = np.concatenate([first, more])
    order = np.argsort(looked)
    every = np.interp(np.arange(count), looked[order], areas[order])
    visible = every >= HIDDEN_AREA
    return _Shown(
        length=length,
        width=width,
        area=area,
        most=float(max(areas.max(), area)),
        share=float(visible.mean()),
        frames=count if body.travels and frames.rate is not None else None,
        visible_frames=int(visible.sum()) if body.travels else 0,
        total=float(every[visible].sum()),
    )


def _sides(body: Carried, camera: Camera, frames: _Frames) -> _Sides:
    """The sides from which the first support could come, were it straight."""
    line = body.lines[0]
    tip = line.points[-1]
    length = float(np.linalg.norm(np.diff(line.points, axis=0), axis=1).sum())
    turning = is_turning(body.travels)
    every = max(1, len(frames.position) // _LOOKS) if turning else len(frames.position)
    rows = np.arange(len(frames.position) - 1, -1, -every)  # the last is the end of the moves
    position = frames.position[rows]
    rotation = frames.rotation[rows] if len(frames.rotation) > 1 else frames.rotation
    ways = {name: np.array(way) for name, way in SIDES.items()}
    middle = body.middles(rotation[:1], position[:1])[0]
    sight = camera.toward if camera.position is None else camera.position - middle
    away = -sight / np.linalg.norm(sight)
    # In the frame's axes at the end of the moves, which are those of the rig.
    if float(away @ ways["behind"]) < np.cos(np.deg2rad(1.0)):
        ways[_IN_LINE] = away
    directions = np.array(list(ways.values()))
    points = np.stack([tip + length * directions, np.broadcast_to(tip, directions.shape)], axis=1)
    wide = None
    if line.wide is not None:
        flat = width_direction("strip", points)
        assert flat is not None  # a strip has one
        across = flat[:, 0] - (flat[:, 0] * directions).sum(axis=1, keepdims=True) * directions
        wide = np.broadcast_to(np.einsum("nij,rj->rni", rotation, across), (len(ways), len(position), 3))
    return _Sides(
        names=tuple(ways),
        points=position[:, None] + points[:, None] @ np.swapaxes(rotation, -1, -2),
        wide=wide,
        rotation=rotation,
        position=position,
    )


def _now(prop: Prop) -> str | None:
    """The side from which the only support comes; None where it is bent or there are several."""
    first = prop.support[0]
    return first.from_ if first.path is None and len(prop.support) == 1 else None


def _side_advice(sides: dict[str, float], shown: _Shown, now: str | None) -> tuple[str, ...]:
    name, area = next(iter(sides.items()))
    straight = sides[now] if now is not None else np.inf
    if straight < WORTH_MOVING * shown.most and straight <= area + HIDDEN_AREA:
        now_shows = _area_words(shown.most)
        return (
            f"Take a stiffer or shorter support: straight, {_area_words(straight)} would show, not {now_shows}.",
        )
    if area >= WORTH_MOVING * shown.most or name == now:
        return ()
    words = _IN_LINE_WORDS if name == _IN_LINE else f"from {_SIDE_WORDS[name]}"
    return (
        f"Bring the support in {words}: {_area_words(area)} of it would show, not {_area_words(shown.most)}.",
    )


def _area_words(area: float) -> str:
    if area < HIDDEN_AREA:
        return "0 px^2"
    return f"{_pixels(area)} px^2"


def _pixels(value: float) -> str:
    return f"{float(f'{value:.3g}'):,.10g}"


def _shown_words(shown: _Shown, *, moves: bool) -> str:
    over = ""
    if moves and shown.visible_frames:
        if shown.frames is None:
            over = f"for {shown.share:.0%} of the moves"
        elif shown.visible_frames == shown.frames:
            over = f"in all {shown.frames:,} frames of the moves"
        else:
            over = f"in {shown.visible_frames:,} of {shown.frames:,} frames of the moves"
    if shown.area >= HIDDEN_AREA:
        says = (
            f"{'When the moves have ended ' if moves else ''}{_pixels(shown.length)} px of the support show beside"
            f" the prop, {shown.width:.3g} px wide ({_area_words(shown.area)})"
        )
        return f"{says[:1].upper()}{says[1:]}{f', and it shows {over}' if over else ''}."
    if over:
        return f"It shows {over}, at most {_area_words(shown.most)}; when they have ended it is hidden."
    if shown.most >= HIDDEN_AREA:
        return f"It comes into view on the way, at most {_area_words(shown.most)}."
    return "The prop hides its support" + (", while it moves and after." if moves else ".")


# -- clean-up --------------------------------------------------------------------------------------------


def _cleanup(shot: Shot, shown: _Shown | None, said: _Said) -> None:
    """Weigh cleaning up against rigging again, by the user's own rates."""
    post = shot.post
    if post is None:
        return
    reason = None
    if post.cleanup is None and post.cleanup_per_megapixel is None:
        reason = "No rate is given: add cleanup or cleanup_per_megapixel to [post]."
    elif shown is None:
        reason = "What shows of the support is not known."
    elif shown.frames is None:
        reason = "The frames cannot be counted without a move and the camera's frame_rate."
    if reason is not None or shown is None:
        said.findings.append(_skipped("cleanup", _CLEANUP, reason or ""))
        return
    from rigcheck.picture.cleanup import time_by_area, time_by_frames, weigh

    if post.cleanup is not None:
        time = float(time_by_frames(shown.visible_frames, time_per_frame=post.cleanup.m_as("s")))
        how = f"{shown.visible_frames:,} frames at {post.cleanup}"
    else:
        assert post.cleanup_per_megapixel is not None
        rate = post.cleanup_per_megapixel.m_as("s")
        time = float(time_by_area(np.array([shown.total]), time_per_megapixel=rate))
        how = f"{shown.total / 1e6:.3g} megapixels at {post.cleanup_per_megapixel}"
    said.figures.append(Figure(label=_CLEANUP, value=_time_words(time), note=f"{how}, your rate"))
    said.assumptions.append("Clean-up counts the frames of the moves; a hold before or after comes on top.")
    parts = [part for part in (post.rerig, post.take) if part is not None]
    if not parts:
        return
    choice = weigh(time, sum(part.m_as("s") for part in parts))
    again = _time_words(choice.rerig_time)
    advice: tuple[str, ...] = ()
    if time == 0:
        says = "Nothing of the support shows, so there is nothing to clean up."
    elif choice.saving > 0:
        says = (
            f"Cleaning it up takes {_time_words(time)} by your rate; to rig and shoot it again takes {again}."
        )
        advice = (
            f"Rig it again so that the support is hidden: that saves {_time_words(choice.saving)}.",
            f"Cleaning up is as quick at {choice.break_even:.2g} times your rate.",
        )
    else:
        says = (
            f"Cleaning it up takes {_time_words(time)} by your rate, no longer than the {again} to rig and shoot it"
            " again."
        )
    said.findings.append(
        Finding(
            id="cleanup",
            label=_CLEANUP,
            status=Status.CAUTION if choice.saving > 0 else Status.PASS,
            value=choice.cleanup_time / 60,
            limit=choice.rerig_time / 60,
            unit="min",
            says=says,
            advice=advice,
        )
    )
    said.assumptions.append("Rigging again is taken to hide the support in every frame.")


def _time_words(time: float) -> str:
    if time < 90:
        return f"{time:.2g} s"
    return f"{time / 60:.3g} min" if time < 5400 else f"{time / 3600:.3g} h"
