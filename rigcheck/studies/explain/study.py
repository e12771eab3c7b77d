"""Explaining a test take: what it is that wobbles, and what cures it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, InputError
from rigcheck.files.takes import Take, read_take
from rigcheck.files.video import RATE_OF_RIG, is_video, track_video
from rigcheck.model import Prop, Shot
from rigcheck.motion.identification import Identification, identify
from rigcheck.studies.cautions import cautions
from rigcheck.studies.explain.answers import answers, named, next_step
from rigcheck.studies.explain.causes import rank
from rigcheck.studies.explain.faults import faults_of
from rigcheck.studies.explain.fit import measured_damping, to_write_back, wobble
from rigcheck.studies.explain.modes import Predicted, Uncertain, predict, uncertain
from rigcheck.studies.explain.results import ExplainResult, Seen
from rigcheck.studies.explain.seen import (
    as_seen,
    bend_of,
    curves_of,
    distinct,
    intended,
    kicks_of,
    peak_to_peak,
    view_of,
)
from rigcheck.studies.explain.way import OnTheWay, on_the_way, rolling_sources
from rigcheck.studies.explain.weights import Bench, Damping, Evidence, Source
from rigcheck.studies.explain.words import Sight
from rigcheck.studies.inputs import inputs_of
from rigcheck.studies.mode_words import describe_modes
from rigcheck.studies.reading.prop import Reading, read_prop
from rigcheck.studies.task import Task

__all__ = ["HungMass", "explain", "rate_as_shot"]

Array = NDArray[np.float64]

_STILL_PATH = 2.0
"""A planned path that is no longer than this cannot be matched [px or mm]."""
_LEAST_SAG_ERROR, _SAG_STEP = 0.03, 2e-4
"""A sag read with a ruler: to 3 %, but no better than 0.2 mm; common practice, no source."""
_LEVER = 0.02
_SAME_MODE = 1e-3
_SAME_RATE = 0.02
"""Share by which two frame rates may differ and still be one: 23.976 and 24."""
_KNOWN_DAMPING = 1.5
_NO_DAMPING = 1e-4


@dataclass(frozen=True, kw_only=True)
class HungMass:
    """A bench test: a mass hung at the prop's centre of mass, and how much farther it then sags.

    Attributes
    ----------
    mass : float
        [kg], above 0.
    sag : float
        Further downward movement there [m], above 0.
    """

    mass: float
    sag: float

    def __post_init__(self) -> None:
        for name, value, unit in (("mass", self.mass, "kg"), ("sag", self.sag, "m")):
            if not (np.isfinite(value) and value > 0):
                raise ArgumentError(
                    f"{name} of the bench test: given {value:g} {unit}; it has to be above 0."
                )


def explain(
    take: Take | str | Path | None,
    *,
    shot: Shot | None = None,
    prop: str | None = None,
    frame_rate: float | None = None,
    tap: bool = False,
    hung: HungMass | None = None,
    rates: Mapping[str, float] | None = None,
    point: tuple[float, float, float] | None = None,
) -> ExplainResult:
    """Explain a take.

    Parameters
    ----------
    take : Take, str, Path or None
        The track of a point on the prop, or its file: a table, or a video, of which the strongest point is
        followed. None with a bench test alone.
    shot : Shot, optional
        The rig. Without it only the components of the swing are given.
    prop : str, optional
        Name of the prop; needed where the shot has several.
    frame_rate : float, optional
        Frames a second as shot [Hz], for a file without times. The camera's is taken where it is not given.
    tap : bool
        The prop was tapped and not moved: the moves of the rig file are left aside.
    hung : HungMass, optional
        A bench test, beside the take or in place of it.
    rates : mapping of str to float, optional
        Frequencies of the drive that are known, such as of its steps or its belt [Hz].
    point : tuple of float, optional
        Where the followed point is, from the prop's centre of mass: right, up, toward [m].

    Returns
    -------
    ExplainResult

    Raises
    ------
    InputError
        The file cannot be read.
    UnknownNameError
        The shot has no prop of that name.
    ArgumentError
        The shot has several props and none is named; neither a take nor a bench test is given; a rate is not
        above 0.
    """
    rates = dict(rates or {})
    for name, value in rates.items():
        if not (np.isfinite(value) and value > 0):
            raise ArgumentError(f"rate {name}: given {value:g} Hz; it has to be above 0.")
    if hung is not None and shot is None:
        raise ArgumentError("a bench test says nothing without the rig: give the rig file too.")
    if take is None and hung is None:
        raise ArgumentError("nothing to explain: give a take, or a bench test.")
    track = take if take is None or isinstance(take, Take) else _read(take, shot, frame_rate)
    if shot is None:
        assert track is not None  # without a rig there is no bench test
        return _components_only(track)
    return _explain(shot, _prop(shot, prop), track, tap=tap, hung=hung, rates=rates, point=point)


def rate_as_shot(shot: Shot | None, given: float | None) -> tuple[float | None, str]:
    """Say at how many frames a second a video was shot, and where that comes from.

    Parameters
    ----------
    shot : Shot or None
        The rig, whose camera has a frame rate.
    given : float or None
        What the user says [Hz]; it wins.

    Returns
    -------
    rate : float or None
        [Hz]; None where only the video file itself can tell.
    source : str
        In words.
    """
    known = None if shot is None else _camera_rate(shot)
    return (known, RATE_OF_RIG) if given is None and known is not None else (given, "as given")


def _read(path: str | Path, shot: Shot | None, frame_rate: float | None) -> Take:
    if is_video(path):
        rate, rate_from = rate_as_shot(shot, frame_rate)
        return track_video(path, frame_rate=rate, rate_from=rate_from).take
    known = None if shot is None else _camera_rate(shot)
    try:
        return read_take(path, frame_rate=frame_rate)
    except InputError as error:
        # A file that counts frames only was most likely shot as the rig file says.
        times_missing = [problem.where for problem in error.problems] == ["time_s"]
        if frame_rate is None and known is not None and times_missing:
            return read_take(path, frame_rate=known)
        raise


def _prop(shot: Shot, name: str | None) -> Prop:
    if name is not None:
        return shot.find_prop(name)
    if len(shot.prop) > 1:
        names = ", ".join(f'"{one.name}"' for one in shot.prop)
        raise ArgumentError(f"the shot has several props: say which one the take shows, of {names}.")
    return shot.prop[0]


# -- what the take shows --------------------------------------------------------------------------------

_SLOW_DRIFT = "A slow drift is taken out of the part after the stop."
_NO_BENCH = (
    "The rig as the file describes it does not hold the mass of the bench test, or does not sag under it:"
    " that test says nothing here."
)
_NO_RIG = "Without a rig file nothing can be said about causes."


def _identified(track: Take, planned: Array | None) -> tuple[Identification, Identification | None]:
    """What swings in the take, camera shake taken off, and what its fixed point does."""
    found = identify(
        track.times, track.positions, planned=planned, background=track.background, unit=track.unit
    )
    if track.background is None:
        return found, None
    return found, identify(track.times, track.background, unit=track.unit)


def _shown(
    found: Identification | None, unit: str, pixel: float = np.nan, kinds: dict[int, str] | None = None
) -> tuple[Seen, ...]:
    if found is None:
        return ()
    names = kinds or {}
    return tuple(
        as_seen(one, found.frame_rate, what=names.get(id(one), ""), unit=unit, scale=pixel)
        for one in found.components
    )


def _components_only(track: Take) -> ExplainResult:
    found, still = _identified(track, None)
    return ExplainResult(
        take=track.source,
        unit=track.unit,
        frame_rate_Hz=track.frame_rate,
        part_s=(found.start_time, found.stop_time),
        curves=curves_of(track, found),
        noise=found.noise,
        components=_shown(found, track.unit),
        background=_shown(still, track.unit),
        seen=peak_to_peak(found.parts),
        next_step=next_step(found, None),
        notes=(*track.notes, *found.notes, _NO_RIG),
        order_criterion=found.order_criterion,
        assumptions=(_SLOW_DRIFT,),
        cautions=cautions("clear"),
    )


# -- with a rig -----------------------------------------------------------------------------------------


def _explain(
    shot: Shot,
    prop: Prop,
    track: Take | None,
    *,
    tap: bool,
    hung: HungMass | None,
    rates: dict[str, float],
    point: tuple[float, float, float] | None,
) -> ExplainResult:
    reading = read_prop(shot, prop)
    task = reading.task if not tap else replace(reading.task, travels=(), pushes=())
    unsure = uncertain(shot, prop)
    faults = faults_of(shot, prop, reading)
    predicted = predict(task, unsure, faults, hung=None if hung is None else hung.mass)
    unit = "px" if track is None else track.unit
    view = view_of(task, unit)
    found = still = None
    if track is not None:
        found, still = _identified(track, _planned(task, track, view))
    components = () if found is None else tuple(distinct(found))
    rate = 1.0 if found is None else found.frame_rate
    moved = found is not None and found.planned_shift is not None
    evidence = Evidence(
        components=components,
        frame_rate=rate,
        bend=None if found is None or track is None else bend_of(track, found),
        kicks=None if found is None or track is None else kicks_of(track, found),
        view=view,
        lever=_lever(prop),
        point=None if point is None else np.array(point),
        push=_push(task) if moved else None,
        bench=None if hung is None or predicted[0].log_sag is None else _bench(hung),
    )
    background = None if still is None else max((one.amplitude for one in still.components), default=0.0)
    sources, way = _elsewhere(task, track, found, view, rates)
    ranking = rank(
        predicted,
        evidence,
        _damping_prior(shot, prop, task),
        sources=sources,
        on_the_way=way,
        background=background,
    )
    pixel = np.nan if task.eye is None else 1e3 / float(np.linalg.norm(task.eye.jacobian, 2))
    sight = Sight(
        task=task,
        prop=prop,
        kinds=_kinds(task, predicted[0]),
        components=components,
        frame_rate=rate,
        unit=unit,
        bend=evidence.bend,
        scale=1.0 if unit == "mm" else pixel,
        has_background=still is not None,
    )
    damping_ratio = measured_damping(components, None if ranking.rig is None else ranking.rig.weighed)
    told = answers(shot, prop, reading, unsure, ranking, sight, damping_ratio)
    fitted = None
    if ranking.rig is not None:
        fitted = to_write_back(
            prop,
            task,
            faults,
            ranking.rig,
            damping_ratio,
            bench=evidence.bench,
            take="the bench test" if track is None else track.source,
        )
    seen = None if found is None else peak_to_peak(found.parts)
    within = moved and seen is not None and unit == sight.wobble_unit and seen <= sight.limit
    return ExplainResult(
        take="" if track is None else track.source,
        title=shot.title,
        prop=prop.name,
        unit=unit,
        tapped=tap,
        frame_rate_Hz=None if found is None else rate,
        part_s=None if found is None else (found.start_time, found.stop_time),
        curves=None if found is None or track is None else curves_of(track, found),
        noise=None if found is None else found.noise,
        components=_shown(found, unit, pixel, named(ranking, sight)),
        background=_shown(still, unit, pixel),
        seen=seen,
        causes=told.causes,
        cures=told.cures,
        predicted=wobble(reading.task),
        predicted_unit=sight.wobble_unit,
        limit=sight.limit,
        next_step=next_step(found, told, within=within, tapped=tap, swings=len(components)),
        fitted=fitted,
        notes=(
            *(() if hung is None or evidence.bench is not None else (_NO_BENCH,)),
            *(() if track is None else track.notes),
            *(() if tap else _clock_notes(shot, track)),
            *(() if found is None else found.notes),
        ),
        order_criterion="" if found is None else found.order_criterion,
        assumptions=_assumptions(
            reading, unsure, track, tap=tap, moved=moved, point=point, damping_ratio=damping_ratio
        ),
        cautions=cautions(task.limits.hazard, reading.cautions),
    )


def _kinds(task: Task, base: Predicted) -> tuple[str, ...]:
    """Words of the modes that components are held against, by their frequencies."""
    listed = describe_modes(task.rig, task.evaluate())
    frequencies = np.array([mode.frequency_Hz for mode in listed])
    kinds = []
    for value in np.exp(base.log_frequency[0]):
        away = np.abs(frequencies / value - 1.0)
        kinds.append(listed[int(away.argmin())].kind if away.min() < _SAME_MODE else "")
        frequencies[int(away.argmin())] = np.inf
    return tuple(kinds)


def _camera_rate(shot: Shot) -> float | None:
    if shot.camera is None or shot.camera.frame_rate is None:
        return None
    return shot.camera.frame_rate.m_as("Hz")


def _clock_notes(shot: Shot, track: Take | None) -> tuple[str, ...]:
    """Times that count the frames at another rate than the file says they were shot at."""
    shot_at = _camera_rate(shot)
    if track is None or shot_at is None or abs(track.frame_rate / shot_at - 1.0) < _SAME_RATE:
        return ()
    return (
        (
            f"The take has {track.frame_rate:.4g} frames a second by its times, the rig file says {shot_at:.4g} as"
            f" shot. If the times count playback, all frequencies here are off: give --fps {shot_at:.4g}."
        ),
    )


def _elsewhere(
    task: Task, track: Take | None, found: Identification | None, view: Array, rates: dict[str, float]
) -> tuple[list[Source], list[OnTheWay]]:
    """What swings at a known frequency after the stop, and what shakes the prop on its way."""
    sources = [Source(id="drive-rate", name=name, frequency=value) for name, value in rates.items()]
    if found is None or track is None:
        return sources, []
    shift = 0.0 if found.planned_shift is None else found.planned_shift
    sources += rolling_sources(task.travels, shift, found.start_time, found.stop_time)
    return sources, on_the_way(task, track, found, view, rates)


def _planned(task: Task, track: Take, view: Array) -> Array | None:
    if not task.travels:
        return None
    point = task.rig.centre_of_mass[0]
    path = intended(task.travels, track.times, point, view)
    first = min(float(travel.start[0]) for travel in task.travels)
    last = max(float(travel.stop[0]) for travel in task.travels)
    # Long moves may lie outside the take's clock; their length on screen is what counts.
    whole = intended(task.travels, np.linspace(first, last, 200), point, view)
    if float(np.ptp(whole, axis=0).max()) < _STILL_PATH or float(np.ptp(path, axis=0).max()) < _STILL_PATH:
        return None
    return path


def _lever(prop: Prop) -> float:
    if prop.size is None:
        return _LEVER
    return 0.25 * float(np.mean([side.m_as("m") for side in prop.size]))


def _push(task: Task) -> Array | None:
    """Directions in which the moves accelerate the prop; a roll may in any."""
    if any(travel.rolls for travel in task.travels):
        return np.eye(3)
    ways = [travel.direction for travel in task.travels] + [push.direction for push in task.pushes]
    return np.array(ways) if ways else None


def _bench(hung: HungMass) -> Bench:
    return Bench(mass=hung.mass, sag=hung.sag, spread=float(np.hypot(_LEAST_SAG_ERROR, _SAG_STEP / hung.sag)))


def _damping_prior(shot: Shot, prop: Prop, task: Task) -> Damping:
    given = next((item for item in inputs_of(shot, prop) if item.kind == "damping"), None)
    if given is not None:
        return Damping(median=given.value, low=given.low, high=given.high)
    value = max(float(task.rig.damping_ratio[0]), _NO_DAMPING)
    return Damping(median=value, low=value / _KNOWN_DAMPING, high=value * _KNOWN_DAMPING)


def _assumptions(
    reading: Reading,
    unsure: Uncertain,
    track: Take | None,
    *,
    tap: bool,
    moved: bool,
    point: tuple[float, float, float] | None,
    damping_ratio: float | None,
) -> tuple[str, ...]:
    said = list(reading.assumptions)
    if track is not None:
        said.append(
            "The planned move is taken out where it was made; a slow drift is taken out of the rest."
            if moved
            else _SLOW_DRIFT
        )
        if point is None:
            said.append("The followed point lies near the prop's centre of mass.")
        if damping_ratio is not None:
            said.append(
                f"Wobble with each cause, and its cures, are with the damping of the take, {damping_ratio:.2g}."
            )
        if tap:
            said.append("The prop was tapped, not moved.")
    said.append(
        "One thing is wrong at most. Chances are among the causes listed, from how often each occurs (common"
        " practice, no source) and how well the rig's own modes, with its ranges, then fit what is seen."
    )
    if unsure.inputs:
        said.append("Ranges that were let vary: " + ", ".join(item.label for item in unsure.inputs) + ".")
    if unsure.spreads_inertia:
        said.append(
            "The inertia follows from the prop's shape and is taken to be right within 16 % nine times in ten."
        )
    return tuple(dict.fromkeys(said))
