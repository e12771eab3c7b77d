"""Explaining a test take: what it is that wobbles, and what cures it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, InputError
from rigcheck.files.takes import Take, read_take
from rigcheck.model import Prop, Shot
from rigcheck.motion.identification import Identification, identify
from rigcheck.studies.cautions import cautions
from rigcheck.studies.cures import Task
from rigcheck.studies.explain_causes import Ranked, Ranking, rank
from rigcheck.studies.explain_faults import Predicted, Uncertain, faults_of, predict, uncertain
from rigcheck.studies.explain_fit import cures_of, fit, measured_damping, to_write_back, wobble
from rigcheck.studies.explain_results import Cause, ExplainResult, Implied, Seen
from rigcheck.studies.explain_seen import as_seen, bend_of, distinct, intended, peak_to_peak, view_of
from rigcheck.studies.explain_way import on_the_way, rolling_sources
from rigcheck.studies.explain_weights import Bench, Damping, Evidence, Source
from rigcheck.studies.explain_words import Sight, describe, mode_id, plain_cure, telling
from rigcheck.studies.mode_words import describe_modes
from rigcheck.studies.reading import Reading, read_prop
from rigcheck.studies.uncertainty import inputs_of

__all__ = ["HungMass", "explain"]

Array = NDArray[np.float64]

_LEAST_CHANCE = 0.01
_MOST_CAUSES = 8
_FITTED = 3
"""Causes whose wobble is worked out before and after the cure."""
_LEAST_FITTED = 0.05
_STILL_PATH = 2.0
"""A planned path that is no longer than this cannot be matched [px or mm]."""
_LEAST_SAG_ERROR, _SAG_STEP = 0.03, 2e-4
"""A sag read with a ruler: to 3 %, but no better than 0.2 mm; common practice, no source."""
_LEVER = 0.02
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
        The track of a point on the prop, or its file. None with a bench test alone.
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
    chosen = None if shot is None else _prop(shot, prop)
    if shot is None or chosen is None:
        assert track is not None  # without a rig there is no bench test
        return _components_only(track)
    reading = read_prop(shot, chosen)
    return _explain(shot, chosen, reading, track, tap=tap, hung=hung, rates=rates, point=point)


def _read(path: str | Path, shot: Shot | None, frame_rate: float | None) -> Take:
    known = None
    if shot is not None and shot.camera is not None and shot.camera.frame_rate is not None:
        known = shot.camera.frame_rate.m_as("Hz")
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


def _identified(track: Take, planned: Array | None) -> tuple[Identification, Identification | None]:
    """What swings in the take, camera shake taken off, and what its fixed point does."""
    found = identify(
        track.times, track.positions, planned=planned, background=track.background, unit=track.unit
    )
    if track.background is None:
        return found, None
    return found, identify(track.times, track.background, unit=track.unit)


def _shown(found: Identification, kinds: dict[int, str] | None = None) -> tuple[Seen, ...]:
    names = kinds or {}
    return tuple(as_seen(one, found.frame_rate, names.get(id(one), "")) for one in found.components)


def _components_only(track: Take) -> ExplainResult:
    found, still = _identified(track, None)
    return ExplainResult(
        take=track.source,
        unit=track.unit,
        frame_rate_Hz=track.frame_rate,
        part_s=(found.start_time, found.stop_time),
        noise=found.noise,
        components=_shown(found),
        background=() if still is None else _shown(still),
        seen=peak_to_peak(found.components),
        notes=(
            *found.notes,
            "Without a rig file nothing can be said about causes: give it with --rig.",
        ),
        order_criterion=found.order_criterion,
        assumptions=(_SLOW_DRIFT,),
        cautions=cautions("clear"),
    )


_SLOW_DRIFT = "A slow drift is taken out of the part after the stop."


# -- with a rig -----------------------------------------------------------------------------------------


def _explain(
    shot: Shot,
    prop: Prop,
    reading: Reading,
    track: Take | None,
    *,
    tap: bool,
    hung: HungMass | None,
    rates: dict[str, float],
    point: tuple[float, float, float] | None,
) -> ExplainResult:
    task = reading.task if not tap else replace(reading.task, travels=(), pushes=())
    unit = "px" if track is None else track.unit
    view = view_of(task, unit)
    found = still = None
    if track is not None:
        planned = _planned(task, track, view)
        found, still = _identified(track, planned)
    components = () if found is None else tuple(distinct(found))
    rate = 1.0 if found is None else found.frame_rate
    moved = found is not None and found.planned_shift is not None
    bend = None if found is None or track is None else bend_of(track, found)
    evidence = Evidence(
        components=components,
        frame_rate=rate,
        bend=bend,
        view=view,
        lever=_lever(prop),
        point=None if point is None else np.array(point),
        push=_push(task) if moved else None,
        bench=None if hung is None else _bench(hung),
    )
    unsure = uncertain(shot, prop)
    faults = faults_of(shot, prop, reading)
    predicted = predict(task, unsure, faults, hung=None if hung is None else hung.mass)
    background = None if still is None else max((one.amplitude for one in still.components), default=0.0)
    ranking = _ranking(task, prop, shot, predicted, evidence, track, found, rates, background)
    outcome = task.evaluate()
    kinds = tuple(mode.kind for mode in describe_modes(task.rig, outcome))
    sight = Sight(
        task=task,
        prop=prop,
        kinds=kinds,
        components=components,
        frame_rate=rate,
        unit=unit,
        bend=bend,
        scale=_scale(task, unit),
        has_background=still is not None,
    )
    before = wobble(reading.task)
    damping = measured_damping(components)
    causes, cures = _causes(shot, prop, reading, unsure, ranking, sight, damping)
    fitted = None
    if ranking.rig is not None:
        fitted = to_write_back(
            prop,
            task,
            faults,
            ranking.rig,
            components,
            frame_rate=rate,
            take="the bench test" if track is None else track.source,
        )
    named = _named(ranking, sight)
    return ExplainResult(
        take="" if track is None else track.source,
        title=shot.title,
        prop=prop.name,
        unit=unit,
        frame_rate_Hz=None if found is None else rate,
        part_s=None if found is None else (found.start_time, found.stop_time),
        noise=None if found is None else found.noise,
        components=() if found is None else _shown(found, named),
        background=() if still is None else _shown(still),
        seen=None if found is None else peak_to_peak(found.components),
        causes=causes,
        cures=cures,
        predicted=before,
        predicted_unit="mm" if task.eye is None else "px",
        fitted=fitted,
        notes=(() if found is None else found.notes),
        order_criterion="" if found is None else found.order_criterion,
        assumptions=_assumptions(reading, unsure, track, tap=tap, moved=moved, point=point),
        cautions=cautions(reading.task.limits.hazard, reading.cautions),
    )


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


def _scale(task: Task, unit: str) -> float:
    """Millimetres at the prop for a unit of the track; NaN where not known."""
    if unit == "mm":
        return 1.0
    return np.nan if task.eye is None else 1e3 / float(np.linalg.norm(task.eye.jacobian, 2))


def _damping_prior(shot: Shot, prop: Prop, task: Task) -> Damping:
    given = next((item for item in inputs_of(shot, prop) if item.kind == "damping"), None)
    if given is not None:
        return Damping(median=given.value, low=given.low, high=given.high)
    value = max(float(task.rig.damping_ratio[0]), _NO_DAMPING)
    return Damping(median=value, low=value / _KNOWN_DAMPING, high=value * _KNOWN_DAMPING)


def _ranking(
    task: Task,
    prop: Prop,
    shot: Shot,
    predicted: list[Predicted],
    evidence: Evidence,
    track: Take | None,
    found: Identification | None,
    rates: dict[str, float],
    background: float | None,
) -> Ranking:
    sources: list[Source] = [
        Source(id="drive-rate", name=name, frequency=value) for name, value in rates.items()
    ]
    way = []
    if found is not None and track is not None:
        shift = 0.0 if found.planned_shift is None else found.planned_shift
        sources += rolling_sources(task.travels, shift, found.start_time, found.stop_time)
        way = on_the_way(task, track, found, evidence.view, rates)
    return rank(
        predicted,
        evidence,
        _damping_prior(shot, prop, task),
        sources=sources,
        on_the_way=way,
        background=background,
    )


# -- causes in words ------------------------------------------------------------------------------------


def _causes(
    shot: Shot,
    prop: Prop,
    reading: Reading,
    unsure: Uncertain,
    ranking: Ranking,
    sight: Sight,
    damping: float | None,
) -> tuple[tuple[Cause, ...], tuple[str, ...]]:
    """Causes in words with their cures, and the cures of the likeliest rig."""
    entries: list[tuple[str, float, Ranked, int | None]] = []
    for ranked in ranking.causes:
        if ranked.id == "as-described":
            entries += _modes(ranked, sight)
        else:
            entries.append((ranked.id, ranked.chance, ranked, None))
    entries = _together(entries)
    entries = [entry for entry in entries if entry[1] >= _LEAST_CHANCE][:_MOST_CAUSES]
    cures: tuple[str, ...] = ()
    causes = []
    for place, (name, chance, ranked, mode) in enumerate(entries):
        following = entries[place + 1][0] if place + 1 < len(entries) else None
        value = predicted = after = None
        own: tuple[str, ...] = ()
        if ranked.weighed is not None and place < _FITTED and chance >= _LEAST_FITTED:
            found = fit(reading.task, unsure, ranked, sight.components, sight.frame_rate, damping)
            value = found.value
            predicted = wobble(found.faulty)
            if found.mended is not found.faulty and mode is None and ranked.id not in ("clamp-play", "air"):
                after = wobble(found.mended)
            if ranked is ranking.rig or not cures:
                own = cures_of(shot, prop, found.faulty)
                cures = cures or own
        says, implied = describe(ranked, sight, value) if mode is None else _mode_words(ranked, sight, mode)
        causes.append(
            Cause(
                id=name,
                chance=chance,
                says=says,
                implied=implied,
                test=telling(name, following),
                cure=_cure(name, own, predicted, after, sight),
                predicted=predicted,
                after=after,
            )
        )
    return tuple(causes), cures


def _modes(ranked: Ranked, sight: Sight) -> list[tuple[str, float, Ranked, int | None]]:
    """The rig as described, split into its modes by how large each swings."""
    assert ranked.weighed is not None  # a rig
    assert ranked.predicted is not None
    sizes = np.array([component.amplitude for component in sight.components])
    if not len(sizes):
        return [("mode-sway", ranked.chance, ranked, 0)]
    shares = (sizes / sizes.sum()) @ ranked.weighed.modes
    result: list[tuple[str, float, Ranked, int | None]] = []
    for mode in np.flatnonzero(shares[:-1] > 0):
        name = mode_id(_kind(sight, int(mode)), sight.task.rig, _frequency(ranked, int(mode)))
        result.append((name, ranked.chance * float(shares[mode]), ranked, int(mode)))
    if shares[-1] > 0:
        result.append(("camera", ranked.chance * float(shares[-1]), _stranger(ranked), None))
    return result


def _stranger(ranked: Ranked) -> Ranked:
    assert ranked.weighed is not None  # a rig
    return Ranked(id="camera", chance=0.0, component=int(np.argmax(ranked.weighed.modes[:, -1])))


def _together(
    entries: list[tuple[str, float, Ranked, int | None]],
) -> list[tuple[str, float, Ranked, int | None]]:
    """Entries of one name as one, the likeliest of them speaking."""
    groups: dict[str, list[tuple[str, float, Ranked, int | None]]] = {}
    for entry in entries:
        groups.setdefault(entry[0], []).append(entry)
    joined = []
    for name, group in groups.items():
        first = max(group, key=lambda entry: entry[1])
        joined.append((name, sum(entry[1] for entry in group), first[2], first[3]))
    return sorted(joined, key=lambda entry: -entry[1])


def _kind(sight: Sight, mode: int) -> str:
    return sight.kinds[mode] if mode < len(sight.kinds) else ""


def _frequency(ranked: Ranked, mode: int) -> float:
    assert ranked.predicted is not None  # a rig
    return float(np.exp(ranked.predicted.log_frequency[0, mode]))


def _mode_words(ranked: Ranked, sight: Sight, mode: int) -> tuple[str, Implied | None]:
    assert ranked.weighed is not None  # a rig
    given = _frequency(ranked, mode)
    kind = _kind(sight, mode) or "a higher mode"
    which = [c for c, best in enumerate(ranked.weighed.best) if best == mode]
    says = f"The rig is as the file says, and rings: {kind}, predicted at {given:.3g} Hz."
    if not which:
        return says, None
    seen = sight.components[which[0]]
    low, high = seen.frequency_range
    return says, Implied(
        what="frequency",
        value=seen.frequency,
        low=low,
        high=high,
        given=given,
        unit="Hz",
        plausible=True,
        says="within what mass, sizes, stiffness and clamp leave open",
    )


def _cure(
    name: str, own: tuple[str, ...], predicted: float | None, after: float | None, sight: Sight
) -> str | None:
    plain = plain_cure(name)
    unit = "mm" if sight.task.eye is None else "px"
    if plain is None:
        return own[0] if own else _NO_MOVE if predicted is None else None
    if predicted is not None and after is not None:
        plain = f"{plain} (wobble {predicted:.3g} to {after:.3g} {unit})"
    return f"{plain}. Or: {own[0]}" if own and (after is None or after > 0.5 * (predicted or 0.0)) else plain


_NO_MOVE = (
    "Make the support shorter or stiffer, or the move smoother; with a move in the rig file it is worked out"
)


def _named(ranking: Ranking, sight: Sight) -> dict[int, str]:
    """What each component probably is, by the likeliest rig."""
    if ranking.rig is None or ranking.rig.weighed is None:
        return {}
    return {
        id(component): _kind(sight, mode)
        for component, mode in zip(sight.components, ranking.rig.weighed.best, strict=True)
        if mode >= 0
    }


def _assumptions(
    reading: Reading,
    unsure: Uncertain,
    track: Take | None,
    *,
    tap: bool,
    moved: bool,
    point: tuple[float, float, float] | None,
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
