"""What a take shows, made ready for the weighing of causes: distinct swings, and how they change with their size."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rigcheck.files.takes import Take
from rigcheck.motion.distance_measures import peak_to_peak_distance
from rigcheck.motion.identification import Component, Identification, aliases
from rigcheck.motion.moving_frame import Carrier, frame_field
from rigcheck.motion.take_merging import analytic
from rigcheck.motion.take_part import frame_noise
from rigcheck.motion.take_spectrum import amplitude_spectrum
from rigcheck.studies.explain.results import Curves, Seen
from rigcheck.studies.moves import Travel
from rigcheck.studies.rigs import DOWN
from rigcheck.studies.task import Task

__all__ = [
    "Bend",
    "as_seen",
    "bend_of",
    "curves_of",
    "distinct",
    "intended",
    "kicks_of",
    "peak_to_peak",
    "screen_words",
    "view_of",
]

Array = NDArray[np.float64]

_SAME_CYCLES = 1.5
"""Components nearer than this many cycles over the part are one swing that changes with its size."""
_SAME_SHARE = 0.02
"""Nor can rigs be told apart by less than this share of a frequency."""
_MOST = 6
_LEAST_SHARE = 0.01
"""Components under this share of the largest amplitude explain nothing anyone sees."""
_LEAST_IN_WINDOW = 8
_WINDOWS = 8
_LEAST_CYCLES = 2.5
"""Cycles in a window over which a frequency is followed."""
_KICK_CYCLES, _KICK_FRAMES = 3.0, 16
"""A window in which the size of a swing is taken."""
_LEAST_WINDOWS = 6
_CLEAR_PHASE = 0.3
"""Standard deviation of a phase up to which it can be followed [rad]."""
_SAMPLES = 200
_LEAST_SPECTRUM = 8
"""Frames below which a spectrum shows nothing."""
_LEVEL = 0.36
"""Rise over run up to which a direction counts as level: 20 degrees, a choice."""
_ROUND = 1.5
"""Range of a direction from which there is none [rad]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Bend:
    """How the frequency of the largest swing changes as it dies down.

    Attributes
    ----------
    change, spread : float
        Logarithm of the late over the early frequency, and its standard deviation.
    amplitude, frequency : array, shape (w,)
        In each window [px or mm], [Hz].
    """

    change: float
    spread: float
    amplitude: Array
    frequency: Array


def view_of(task: Task, unit: str) -> Array:
    """What a small movement is on screen, shape (2, 3) [px/m or mm/m].

    Parameters
    ----------
    task : Task
        With the camera, if there is one.
    unit : str
        Of the track: ``px`` or ``mm``.

    Returns
    -------
    array
        Without a camera, or for a track in mm, right and up as a level camera sees them.
    """
    if task.eye is not None and unit == "px":
        return task.eye.jacobian
    if task.eye is not None:
        camera = task.eye.camera
        return np.stack([camera.right, camera.up]) * 1e3
    return np.eye(2, 3) * 1e3


def intended(travels: tuple[Travel, ...], times: Array, point: Array, view: Array) -> Array:
    """Where moves should carry a point, on screen.

    Parameters
    ----------
    travels : tuple of Travel
        Ground first.
    times : array, shape (n,)
        On the moves' own clock [s].
    point : array, shape (3,)
        From the first tip, in the pose at the end [m].
    view : array, shape (2, 3)
        See `view_of`.

    Returns
    -------
    array, shape (n, 2)
        From where the moves end.
    """
    if not any(travel.rolls for travel in travels):
        path = np.zeros((len(times), 2))
        for travel in travels:
            path += travel.law(0, times)[0][:, None] * (view @ np.array(travel.direction))
        return path
    carriers = [
        Carrier(
            rolls=travel.rolls,
            direction=np.array(travel.direction),
            through=None if travel.through is None else travel.through[0],
            law=lambda at, travel=travel: travel.law(0, at),  # type: ignore[misc]
        )
        for travel in travels
    ]
    field = frame_field(carriers, times, gravity=DOWN)
    moved = field.position + field.rotation @ point - point
    return np.asarray(moved @ view.T)


def distinct(found: Identification) -> list[Component]:
    """Components that are swings of their own, largest first, at most six.

    Parameters
    ----------
    found : Identification
        What was found in the take.

    Returns
    -------
    list of Component
        Without those too near to a larger one and those too small to matter.
    """
    duration = max(found.stop_time - found.start_time, 1e-9)
    kept: list[Component] = []
    for one in found.components:
        apart = all(_apart(one, other, duration) for other in kept)
        if apart and (not kept or one.amplitude > _LEAST_SHARE * kept[0].amplitude):
            kept.append(one)
    return kept[:_MOST]


def _apart(one: Component, other: Component, duration: float) -> bool:
    width = one.frequency * one.damping_ratio + other.frequency * other.damping_ratio
    return abs(one.frequency - other.frequency) > max(_SAME_CYCLES / duration, width)


def as_seen(
    component: Component, frame_rate: float, *, what: str = "", unit: str, scale: float = np.nan
) -> Seen:
    """A component in the words of the result.

    Parameters
    ----------
    component : Component
        From the identification.
    frame_rate : float
        [Hz].
    what : str
        The movement it probably is.
    unit : str
        Of the track: ``px`` or ``mm``.
    scale : float
        Millimetres for a pixel; NaN where not known.

    Returns
    -------
    Seen
    """
    others = aliases(component.damped_frequency, frame_rate=frame_rate, highest=2.0 * frame_rate)
    known = bool(np.isfinite(scale))
    amplitude = component.amplitude
    decay = 2 * np.pi * component.frequency * component.damping_ratio
    return Seen(
        frequency_Hz=component.frequency,
        frequency_range_Hz=component.frequency_range,
        damping_ratio=component.damping_ratio,
        damping_range=component.damping_range,
        amplitude=component.amplitude,
        amplitude_range=component.amplitude_range,
        amplitude_px=amplitude if unit == "px" else amplitude / scale if known else None,
        amplitude_mm=amplitude if unit == "mm" else amplitude * scale if known else None,
        direction=(float(component.direction[0]), float(component.direction[1])),
        direction_words=screen_words(component),
        cycles=component.cycles,
        to_a_tenth_s=float(np.log(10.0) / decay) if decay > 0 else None,
        aliases_Hz=tuple(value for value in others if abs(value - component.damped_frequency) > 1e-6),
        what=what,
    )


def screen_words(component: Component) -> str:
    """The direction of a swing on screen, to and fro.

    Parameters
    ----------
    component : Component
        As seen.

    Returns
    -------
    str
    """
    low, high = component.direction_range
    if high - low > _ROUND:
        return "in a round"
    across, up = np.abs(component.direction)
    if up < _LEVEL * across:
        return "left-right"
    return "up-down" if across < _LEVEL * up else "slanting"


def curves_of(take: Take, found: Identification) -> Curves:
    """What a figure of the take draws.

    Parameters
    ----------
    take : Take
        The track.
    found : Identification
        What was found in it.

    Returns
    -------
    Curves
    """
    rows = np.flatnonzero(np.isfinite(found.fit[:, 0]))
    swing, fitted = np.full_like(take.positions, np.nan), np.full_like(take.positions, np.nan)
    fitted[rows] = 0.0
    for one in found.parts:
        fitted[rows] += _swing(one, take.times[rows] - found.start_time)
    swing[rows] = take.positions[rows] - found.fit[rows] + fitted[rows]
    frequencies = spectrum = fitted_spectrum = np.zeros(0)
    if len(rows) >= _LEAST_SPECTRUM:
        frequencies, spectrum = amplitude_spectrum(take.times[rows], swing[rows])
        _, fitted_spectrum = amplitude_spectrum(take.times[rows], fitted[rows])
    return Curves(
        times=take.times,
        positions=take.positions,
        fit=found.fit,
        swing=swing,
        fitted_swing=fitted,
        direction=found.components[0].direction if found.components else np.array([1.0, 0.0]),
        frequencies=frequencies,
        spectrum=spectrum,
        fitted_spectrum=fitted_spectrum,
    )


def peak_to_peak(parts: tuple[Component, ...]) -> float | None:
    """Wobble over the first two periods of the slowest oscillation, peak to peak.

    Parameters
    ----------
    parts : tuple of Component
        All that make up the fit.

    Returns
    -------
    float or None
        [px or mm]; None where nothing swings.
    """
    if not parts:
        return None
    span = 2.0 / min(one.frequency for one in parts)
    fastest = max(one.frequency for one in parts)
    count = int(np.clip(_SAMPLES * fastest * span / 2, _SAMPLES, 20_000))
    times = np.linspace(0.0, span, count)
    path = np.zeros((2, count))
    for one in parts:
        path += _swing(one, times).T
    return float(peak_to_peak_distance(path))


def _swing(one: Component, times: Array) -> Array:
    """The component's own movement from the start of the part on, (n, 2)."""
    turning = analytic(one, times)
    across = np.array([-one.direction[1], one.direction[0]])
    share = one.minor_amplitude / max(one.amplitude, 1e-300)
    return np.asarray(
        turning.real[:, None] * one.direction + share * turning.imag[:, None] * across, dtype=np.float64
    )


def bend_of(take: Take, found: Identification) -> Bend | None:
    """Follow the frequency of the largest swing as it dies down.

    Parameters
    ----------
    take : Take
        The track.
    found : Identification
        What was found in it.

    Returns
    -------
    Bend or None
        None where too little of it is in view.

    Notes
    -----
    What the fit leaves, with the largest swing put back in, is turned back by the phase that this swing has in the
    fit; in each window the mean of that is its complex size, and fit and mean together give the phase, whose change
    from window to window is the frequency. One that falls as the swing dies down shows a gap, which bears less and
    less; derived here.
    """
    followed = _followed(take, found)
    if followed is None:
        return None
    main, times, left, fitted = followed
    duration = found.stop_time - found.start_time
    span = min(duration, main.cycles / max(main.damped_frequency, 1e-9))
    windows = int(min(_WINDOWS, span * main.damped_frequency / _LEAST_CYCLES))
    if windows < 4:
        return None
    turned = np.unwrap(np.angle(fitted))
    noise = max(found.noise, 1e-12)
    amplitude, phase, spread, middle = [], [], [], []
    edges = np.linspace(0.0, span, windows + 1)
    parts = _windows(times, edges)
    if parts is None:
        return None
    for inside, centre in zip(parts, 0.5 * (edges[:-1] + edges[1:]), strict=True):
        wave = fitted[inside]
        columns = np.stack([wave.real, -wave.imag, np.ones_like(wave.real)], axis=1)
        share = np.linalg.lstsq(columns, left[inside], rcond=None)[0]
        size = float(np.hypot(share[0], share[1]) * np.sqrt(np.mean(np.abs(wave) ** 2)))
        amplitude.append(size)
        phase.append(float(np.interp(centre, times, turned) + np.arctan2(share[1], share[0])))
        spread.append(noise * np.sqrt(2.0 / inside.sum()) / max(size, 1e-12))
        middle.append(centre)
    return _bend(main, np.array(amplitude), np.array(phase), np.array(spread), np.array(middle))


def kicks_of(take: Take, found: Identification) -> float | None:
    """How much the largest swing is kicked on its way, as air does and a ring-down never is.

    Parameters
    ----------
    take : Take
        The track.
    found : Identification
        What was found in it.

    Returns
    -------
    float or None
        Root mean square of what comes to it in the windows in which it grows, over its own; None where too little
        is in view.

    Notes
    -----
    The complex size c_k of the swing in windows of a few cycles, two modes of nearly one frequency included, follows
    c_k = a c_(k-1) + b c_(k-2) while it rings freely. What this leaves, noise taken off, is what was added. Derived
    here.
    """
    followed = _followed(take, found)
    if followed is None:
        return None
    main, times, left, _ = followed
    window = max(_KICK_CYCLES / max(main.damped_frequency, 1e-9), _KICK_FRAMES / found.frame_rate)
    count = int((times[-1] - times[0]) / window)
    if count < _LEAST_WINDOWS:
        return None
    parts = _windows(times, times[0] + window * np.arange(count + 1))
    if parts is None:
        return None
    sizes, frames = np.zeros(count, dtype=np.complex128), np.zeros(count)
    for place, inside in enumerate(parts):
        at = times[inside]
        turn = 2 * np.pi * main.damped_frequency * at
        columns = np.stack([np.cos(turn), -np.sin(turn), np.ones_like(at), at - at.mean()], axis=1)
        solution = np.linalg.lstsq(columns, left[inside], rcond=None)[0]
        sizes[place], frames[place] = solution[0] + 1j * solution[1], len(at)
    before = np.stack([sizes[1:-1], sizes[:-2]], axis=1)
    law = np.linalg.lstsq(before, sizes[2:], rcond=1e-6)[0]
    added = np.abs(sizes[2:] - before @ law) ** 2 * (len(before) / (len(before) - 2))
    grows = np.abs(sizes[2:]) > np.abs(sizes[1:-1])
    noise = (
        4.0
        * min(frame_noise(take.positions), found.noise) ** 2
        / frames.mean()
        * (1 + float((np.abs(law) ** 2).sum()))
    )
    more = float(np.mean(np.where(grows, added - noise, 0.0)))
    return float(np.sqrt(max(more, 0.0) / max(float(np.mean(np.abs(sizes) ** 2)), 1e-300)))


def _windows(times: Array, edges: Array) -> list[NDArray[np.bool_]] | None:
    """Which frames lie between an edge and the next, (n,) for each; None where a window has too few to fit."""
    parts = [(times >= low) & (times < high) for low, high in pairwise(edges)]
    return None if any(part.sum() < _LEAST_IN_WINDOW for part in parts) else parts


def _followed(
    take: Take, found: Identification
) -> tuple[Component, Array, Array, NDArray[np.complex128]] | None:
    """The largest swing, the times of its part, and it as seen and as fitted along its direction."""
    kept = distinct(found)
    if not kept:
        return None
    main = kept[0]
    duration = found.stop_time - found.start_time
    near = max(_SAME_CYCLES / max(duration, 1e-9), _SAME_SHARE * main.frequency)
    rows = np.flatnonzero(np.isfinite(found.fit[:, 0]))
    times = take.times[rows] - found.start_time
    fitted = np.zeros(len(rows), dtype=np.complex128)
    for one in found.parts:
        if main.frequency_range[0] - near <= one.frequency <= main.frequency_range[1] + near:
            fitted += analytic(one, times) * float(one.direction @ main.direction)
    left = (take.positions[rows] - found.fit[rows]) @ main.direction + fitted.real
    return main, times, np.asarray(left), fitted


def _bend(main: Component, amplitude: Array, phase: Array, spread: Array, middle: Array) -> Bend | None:
    clear = spread < _CLEAR_PHASE
    last = len(clear) if clear.all() else int(np.argmin(clear))
    if last < 4:
        return None
    amplitude, phase, spread, middle = (part[:last] for part in (amplitude, phase, spread, middle))
    half = last // 2
    early, early_spread = _slope(middle[: half + 1], phase[: half + 1], spread[: half + 1])
    late, late_spread = _slope(middle[half:], phase[half:], spread[half:])
    if not (early > 0 and late > 0):
        return None
    return Bend(
        change=float(np.log(late / early)),
        spread=float(np.hypot(early_spread, late_spread) / (2 * np.pi * main.damped_frequency)),
        amplitude=np.sqrt(amplitude[:-1] * amplitude[1:]),
        frequency=np.diff(phase) / np.diff(middle) / (2 * np.pi),
    )


def _slope(at: Array, values: Array, spread: Array) -> tuple[float, float]:
    """Weighted straight line: its slope and the standard deviation of that."""
    weight = 1.0 / spread**2
    centre = float((weight * at).sum() / weight.sum())
    moment = float((weight * (at - centre) ** 2).sum())
    return float((weight * (at - centre) * values).sum() / moment), float(1.0 / np.sqrt(moment))
