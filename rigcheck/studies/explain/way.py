"""What shakes the prop while it moves: once and twice a turn of a roll, at the rate of keyframes or of the drive.

The planned path is taken out of the track; what is left is fitted by a slow drift, the lag behind the planned
acceleration and the swings found after the stop. Each suspect is then fitted beside these, and so are frequencies
around it: a suspect counts where it takes off much more than they do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.files.takes import Take
from rigcheck.motion.identification import Component, Identification
from rigcheck.studies.explain.seen import intended
from rigcheck.studies.explain.weights import Source
from rigcheck.studies.moves import Travel
from rigcheck.studies.task import Task

__all__ = ["OnTheWay", "on_the_way", "rolling_sources"]

Array = NDArray[np.float64]

_LEAST_TURNS = 1.5
_LEAST_FRAMES = 30
_LEAST_CYCLES = 4.0
_AROUND = (-2.5, -2.0, -1.5, -1.0, 1.0, 1.5, 2.0, 2.5)
"""Where else to look: so many cycles more over the whole way than the suspect."""
_SLOWEST = 0.15
"""Nor at less than this share of the suspect's rate: that is drift."""
_STILL_CIRCLE = 0.5
"""Radius of the circle that the followed point makes, under which it does not show [px or mm]: a choice."""
_STEPS = 600
_PRIOR = 0.15
"""Prior chance of each suspect: a choice."""


@dataclass(frozen=True, kw_only=True)
class OnTheWay:
    """One suspect.

    Attributes
    ----------
    id, name : str
        As in `Source`.
    chance : float
        That it is there.
    amplitude : float
        Half its longest swing on screen [px or mm].
    rate : float
        Its frequency, or turns a second at the fastest [Hz].
    """

    id: str
    name: str
    chance: float
    amplitude: float
    rate: float


def rolling_sources(travels: tuple[Travel, ...], shift: float, start: float, stop: float) -> list[Source]:
    """Once and twice a turn of rolls that still go on in the part that was looked at.

    Parameters
    ----------
    travels : tuple of Travel
        The moves.
    shift : float
        How much later than given they were made [s].
    start, stop : float
        The part, on the take's clock [s].

    Returns
    -------
    list of Source
    """
    found = []
    for travel in travels:
        if not travel.rolls or not (travel.start[0] + shift < stop and travel.stop[0] + shift > start):
            continue
        times = np.clip(
            np.linspace(start, stop, _STEPS) - shift, float(travel.start[0]), float(travel.stop[0])
        )
        rates = np.abs(travel.law(0, times)[1]) / (2 * np.pi)
        rate = float(np.median(rates))
        if rate > 1e-3 and np.ptp(rates) < 0.05 * rate:
            found += [
                Source(id="roll-runout", name="once a turn", frequency=rate),
                Source(id="roll-runout", name="twice a turn", frequency=2 * rate),
            ]
    return found


def on_the_way(
    task: Task, take: Take, found: Identification, view: Array, rates: dict[str, float]
) -> list[OnTheWay]:
    """Look for suspects while the moves go on.

    Parameters
    ----------
    task : Task
        With the moves.
    take : Take
        The track.
    found : Identification
        What was found after the stop.
    view : array, shape (2, 3)
        Screen for space.
    rates : dict of str to float
        Frequencies of the drive that the user knows [Hz].

    Returns
    -------
    list of OnTheWay
        Every suspect that could be looked for, the largest first.
    """
    travels = task.travels
    keyed = [travel for travel in travels if travel.keys is not None]
    rolling = [travel for travel in travels if travel.rolls]
    if not travels or not (keyed or rolling or rates):
        return []
    first = min(float(travel.start[0]) for travel in travels)
    last = max(float(travel.stop[0]) for travel in travels)
    track = take.positions if take.background is None else take.positions - take.background
    shifts = [found.planned_shift] if found.planned_shift is not None else [0.0, found.start_time - last]
    results = []
    for travel in rolling:
        results += _turns(task, travel, take.times, track, found, view, shifts)
    for travel in keyed:
        assert travel.keys is not None
        rate = 1.0 / float(np.median(np.diff(travel.keys.times)))
        begin, end = float(travel.start[0]), float(travel.stop[0])
        results += _rate(task, "keyframes", "", rate, (begin, end), take, track, found, view, shifts)
    for name, rate in rates.items():
        results += _rate(task, "drive-rate", name, rate, (first, last), take, track, found, view, shifts)
    return sorted(results, key=lambda item: -item.chance * item.amplitude)


def _turns(
    task: Task,
    travel: Travel,
    times: Array,
    track: Array,
    found: Identification,
    view: Array,
    shifts: list[float],
) -> list[OnTheWay]:
    results: dict[int, OnTheWay] = {}
    for shift in shifts:
        window = (float(travel.start[0]), float(travel.stop[0]))
        prepared = _prepare(task, times, track, found, view, shift, window)
        if prepared is None:
            continue
        at, left, columns = prepared
        angle, rate, _ = travel.law(0, np.clip(at, *window))
        if np.ptp(angle) < _LEAST_TURNS * 2 * np.pi:
            continue
        for order in (1, 2):
            other = (3 - order) * angle
            beside = np.stack([np.cos(other), np.sin(other)], axis=1)
            chance, amplitude = _held_against(left, np.hstack([columns, beside]), order * angle)
            if order not in results or chance > results[order].chance:
                results[order] = OnTheWay(
                    id="roll-runout",
                    name="once a turn" if order == 1 else "twice a turn",
                    chance=chance,
                    amplitude=amplitude,
                    rate=order * float(np.abs(rate).max()) / (2 * np.pi),
                )
    return list(results.values())


def _rate(
    task: Task,
    kind: str,
    name: str,
    rate: float,
    window: tuple[float, float],
    take: Take,
    track: Array,
    found: Identification,
    view: Array,
    shifts: list[float],
) -> list[OnTheWay]:
    best: OnTheWay | None = None
    # At the frame rate and its multiples it stands still in the picture.
    folded = abs(rate - round(rate / take.frame_rate) * take.frame_rate)
    for shift in shifts:
        prepared = _prepare(task, take.times, track, found, view, shift, window)
        if prepared is None:
            continue
        at, left, columns = prepared
        if (at[-1] - at[0]) * folded < _LEAST_CYCLES:
            continue
        chance, amplitude = _held_against(left, columns, 2 * np.pi * folded * at)
        if best is None or chance > best.chance:
            best = OnTheWay(id=kind, name=name, chance=chance, amplitude=amplitude, rate=rate)
    return [] if best is None else [best]


def _prepare(
    task: Task,
    times: Array,
    track: Array,
    found: Identification,
    view: Array,
    shift: float,
    window: tuple[float, float],
) -> tuple[Array, Array, Array] | None:
    """Times on the moves' clock, the track without what circles by plan, and what it is fitted by anyway."""
    clock = times - shift
    rows = np.flatnonzero((clock >= window[0]) & (clock <= window[1]))
    if len(rows) < _LEAST_FRAMES:
        return None
    at, left = clock[rows], track[rows]
    slides = tuple(travel for travel in task.travels if not travel.rolls)
    centre = task.rig.centre_of_mass[0]
    path = intended(slides, at, centre, view)
    whole = intended(task.travels, at, centre, view)
    circle = whole - path
    if float(np.ptp(circle, axis=0).max()) > 2 * _STILL_CIRCLE:
        # By plan it circles: taken off as it is, y up or down, whichever leaves less.
        both = [left - circle * sign for sign in (np.array([1.0, 1.0]), np.array([1.0, -1.0]))]
        left = min(both, key=lambda one: float(((one - one.mean(axis=0)) ** 2).sum()))
    columns = [np.ones_like(at), at - at.mean(), (at - at.mean()) ** 2]
    for axis in range(2):
        if float(np.ptp(path[:, axis])) > 0:
            columns.append(path[:, axis])
            columns.append(np.gradient(np.gradient(path[:, axis], at), at))
    for component in _few(found):
        turn = 2 * np.pi * component.damped_frequency * at
        decay = np.exp(-2 * np.pi * component.frequency * component.damping_ratio * (at - at[0]))
        columns += [decay * np.cos(turn), decay * np.sin(turn)]
    table = np.stack(columns, axis=1)
    return at, left, table / np.maximum(np.abs(table).max(axis=0), 1e-300)


def _few(found: Identification) -> tuple[Component, ...]:
    return found.components[:3]


def _held_against(left: Array, columns: Array, phase: Array) -> tuple[float, float]:
    """Chance that a swing of this phase is there, and half its longest swing.

    Notes
    -----
    The sum of squares that the suspect takes off, over the mean of what its neighbours take off, is distributed like
    chi-square of four over 4 where there is nothing (two numbers for each axis); with that ratio as x the odds grow
    by at most exp(2 x), and by what the fit itself gains, less the cost of four numbers (Bayesian information
    criterion). Derived here.
    """
    before = _residual(left, columns)
    gain, solution = _gain(before, columns, phase)
    cycles = float(np.ptp(phase)) / (2 * np.pi)
    shares = [1.0 + more / cycles for more in _AROUND]
    around = np.mean([_gain(before, columns, share * phase)[0] for share in shares if share > _SLOWEST])
    count = 2 * len(left)
    squares = float((before**2).sum())
    if not squares > 0:
        return 0.0, 0.0  # the rest fits to the last digit
    fit = 0.5 * count * np.log(squares / max(squares - gain, 1e-12 * squares))
    odds = np.log(_PRIOR / (1 - _PRIOR)) + min(fit, 2.0 * gain / max(float(around), 1e-300))
    odds -= 2.0 * np.log(count)
    longest = float(np.linalg.norm(solution, 2))
    return float(1.0 / (1.0 + np.exp(-np.clip(odds, -50, 50)))), longest


def _residual(values: Array, columns: Array) -> Array:
    return np.asarray(values - columns @ np.linalg.lstsq(columns, values, rcond=1e-9)[0])


def _gain(before: Array, columns: Array, phase: Array) -> tuple[float, Array]:
    """What a swing takes off the sum of squares, and its four numbers (cos and sin by axis)."""
    swing = np.stack([np.cos(phase), np.sin(phase)], axis=1)
    own = _residual(swing, columns)
    solution = np.linalg.lstsq(own, before, rcond=1e-9)[0]
    return float(((own @ solution) ** 2).sum()), np.asarray(solution)
