"""The rig as the take shows it: fitted to the seen frequencies, with its fault and without; what to write back."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop, Shot
from rigcheck.motion.identification import Component
from rigcheck.studies.cures import find_cures
from rigcheck.studies.evaluate import evaluate
from rigcheck.studies.explain.causes import Ranked
from rigcheck.studies.explain.faults import Fault, root_stiffness_of
from rigcheck.studies.explain.modes import Predicted, Uncertain, follow, varied
from rigcheck.studies.explain.results import Change, Fitted
from rigcheck.studies.explain.weights import MODEL_ERROR, Bench, Weighed
from rigcheck.studies.grading import Grade
from rigcheck.studies.reading.supports import choices_for
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import Rig, repeat
from rigcheck.studies.task import Task
from rigcheck.studies.words import mass_words

__all__ = ["Fit", "cures_of", "fit", "measured_damping", "to_write_back", "wobble"]

Array = NDArray[np.float64]

_AROUND = np.geomspace(0.8, 1.25, 7)
_WIDE = 33
_FINE = 40
_DAMPING_KNOWN = 0.3
"""A damping ratio is worth writing down where its range is no wider than this share to either side."""
_BRACKET = {
    "clamp-softer": (0.02, 80.0),
    "prop-heavier": (0.4, 3.0),
    "prop-further-out": (1e-4, 0.2),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """A rig fitted to a take.

    Attributes
    ----------
    faulty, mended : Task
        With the fault, and with the fault put right; the same where there is none.
    value : float
        Of the fault, refined so that the main frequency is met.
    """

    faulty: Task
    mended: Task
    value: float


def measured_damping(components: tuple[Component, ...], weighed: Weighed | None) -> float | None:
    """Damping ratio of the largest component, where the take tells it.

    Parameters
    ----------
    components : tuple of Component
        Largest first.
    weighed : Weighed or None
        What they probably are: a swing that the frame rate shows at another frequency is damped at its true one.

    Returns
    -------
    float or None
    """
    if not components:
        return None
    low, high = components[0].damping_range
    ratio = components[0].damping_ratio
    if not (ratio > 0 and high - ratio <= _DAMPING_KNOWN * ratio and low > 0):
        return None
    true = np.nan if weighed is None else weighed.true_frequency[0]
    return ratio * components[0].frequency / true if np.isfinite(true) else ratio


def fit(
    task: Task,
    unsure: Uncertain,
    ranked: Ranked,
    damping_ratio: float | None,
) -> Fit:
    """Fit the rig with one fault to the take.

    Parameters
    ----------
    task : Task
        The rig as described.
    unsure : Uncertain
        Its inputs.
    ranked : Ranked
        A fault with its weight.
    damping_ratio : float or None
        As measured.

    Returns
    -------
    Fit
        Inputs at their mean given the take; the fault's value such that the mode it moves most has the frequency
        seen.
    """
    assert ranked.predicted is not None  # only rigs come here
    assert ranked.weighed is not None
    fault, weighed = ranked.predicted.fault, ranked.weighed
    sound = _damped(varied(task, unsure, weighed.deviates[None]), damping_ratio)
    value = float(fault.values[weighed.place])
    put = _most_moved(ranked.predicted, weighed)
    if put is not None and not fault.names and fault.id != "as-described":
        value = _refined(task, sound, fault, value, weighed.true_frequency[put[0]])
    faulty = fault.apply(sound, np.array([value]))
    return Fit(faulty=replace(task, rig=faulty), mended=replace(task, rig=sound), value=value)


def _damped(rig: Rig, damping_ratio: float | None) -> Rig:
    if damping_ratio is None:
        return rig
    return replace(
        rig,
        supports=tuple(
            replace(
                support, material=replace(support.material, damping_ratio=np.full(rig.batch, damping_ratio))
            )
            for support in rig.supports
        ),
    )


def _refined(task: Task, sound: Rig, fault: Fault, value: float, target: float) -> float:
    """The value near the given one at which a frequency is the target; the given one where none is."""
    values = value * _AROUND
    outcome = evaluate(fault.apply(repeat(sound, len(values)), values), task.settings)
    if not outcome.solved.all():
        return value
    logs = np.log(outcome.natural_frequency)
    middle = int(np.abs(logs[len(values) // 2] - np.log(target)).argmin())
    return _crossing(np.log(values), logs[:, middle] - np.log(target)) or value


def _crossing(at: Array, away: Array) -> float | None:
    """The value, of which `at` holds logarithms, at which what is `away` passes 0; None where it does not."""
    order = np.argsort(away)
    if not away.min() < 0 < away.max():
        return None
    return float(np.exp(np.interp(0.0, away[order], at[order])))


# -- wobble and cures -----------------------------------------------------------------------------------


def wobble(task: Task) -> float | None:
    """Wobble after the move, peak to peak: [px] with a camera, else [mm]; None without a move or settled state.

    Parameters
    ----------
    task : Task
        A rig, a batch of one.

    Returns
    -------
    float or None
    """
    still = task.evaluate()
    if not still.solved[0]:
        return None
    motion = task.move(still, course=False)
    if motion is None:
        return None
    return float(motion.residual[0]) * 1e3 if motion.residual_px is None else float(motion.residual_px[0])


def cures_of(shot: Shot, prop: Prop, task: Task) -> tuple[str, ...]:
    """Single changes that would still the rig as fitted, each computed in full.

    Parameters
    ----------
    shot, prop : Shot, Prop
        For what can be had instead.
    task : Task
        The fitted rig.

    Returns
    -------
    tuple of str
        Best first; empty where nothing is wrong or no single change helps.
    """
    still = task.evaluate()
    if not still.solved[0]:
        return ()
    grades = task.grade(still)
    wrong: set[str] = {
        name for name in ("residual-wobble", "settle") if name in grades and not _passes(grades[name])
    }
    if not wrong:
        return ()
    return tuple(
        cure.says for cure in find_cures(task, still, grades, wrong, choices_for(shot, prop.support[0]))
    )


def _passes(grade: Grade) -> bool:
    return str(grade.status[0]) == Status.PASS.value


# -- what to write back ---------------------------------------------------------------------------------


def to_write_back(
    prop: Prop,
    task: Task,
    faults: list[Fault],
    ranked: Ranked,
    damping_ratio: float | None,
    *,
    bench: Bench | None,
    take: str,
) -> Fitted:
    """What of the rig file the take has measured.

    Parameters
    ----------
    prop : Prop
        As in the file.
    task : Task
        The rig as the file describes it.
    faults : list of Fault
        That it can have.
    ranked : Ranked
        The most probable state of the rig.
    damping_ratio : float or None
        As measured.
    bench : Bench or None
        A mass hung on it: what counts where nothing swings.
    take : str
        Its name.

    Returns
    -------
    Fitted
        One value such that the file alone, every other value in it as given, has the seen frequencies, or the sag of
        the bench test; and the damping. Several frequencies are met by least squares, each weighted by how well the
        ranges of the inputs leave it known. A rig that is as described takes what is left up in its clamp.
    """
    changes: list[Change] = []
    says: list[str] = []
    assert ranked.predicted is not None  # only rigs come here
    assert ranked.weighed is not None
    kind = ranked.predicted.fault.id
    kind = "clamp-softer" if kind == "as-described" else kind
    fault = next((one for one in faults if one.id == kind), None)
    wide = None if fault is None or kind not in _BRACKET else _over_bracket(task, fault, kind, bench)
    put = any(mode >= 0 for mode in ranked.weighed.best)
    if ranked.predicted.fault.names:
        _write_stock(prop, ranked, changes, says)
    elif kind in _BRACKET and (put or bench is not None):
        value = None
        if put and wide is not None:
            value = _nearest(wide, ranked.weighed, ranked.predicted.slopes)
        elif wide is not None and wide.log_sag is not None and bench is not None:
            value = _crossing(np.log(wide.fault.values), wide.log_sag - np.log(bench.sag))
        if fault is not None and value is not None:
            _write_value(prop, task, fault, kind, value, changes, says)
        else:
            seen = "frequencies" if put else "sag"
            says.append(
                f"No value of the {_WORDS[kind]} alone gives the seen {seen}, so it is left as it was."
            )
    elif put:
        says.append("A rig file has no place for what was found; only the damping can be written back.")
    if damping_ratio is not None:
        changes.append(Change(key="damping_ratio", value=float(f"{damping_ratio:.3g}")))
        says.append(f"damping ratio {damping_ratio:.2g}")
    return Fitted(prop=prop.name, take=take, changes=tuple(changes), says=tuple(says))


_WORDS = {
    "clamp-softer": "clamp's softness",
    "prop-heavier": "mass",
    "prop-further-out": "centre of mass",
}


def _over_bracket(task: Task, fault: Fault, kind: str, bench: Bench | None) -> Predicted | None:
    """The rig as the file has it, with all values that may be written back."""
    low, high = _BRACKET[kind]
    row = np.geomspace(low, high, _WIDE)
    hung = None if bench is None else bench.mass
    return follow(task, replace(fault, values=row, prior=np.full(_WIDE, 1 / _WIDE)), hung=hung)


def _most_moved(predicted: Predicted, weighed: Weighed) -> tuple[int, int] | None:
    """Component and mode whose frequency the fault moves most, against what the ranges of the inputs leave open."""
    put = [(component, mode) for component, mode in enumerate(weighed.best) if mode >= 0]
    reach = np.ptp(predicted.log_frequency, axis=0)
    own = np.hypot(np.sqrt((predicted.slopes**2).sum(axis=1)), MODEL_ERROR)
    return max(put, key=lambda pair: float(reach[pair[1]] / own[pair[1]]), default=None)


def _nearest(wide: Predicted, weighed: Weighed, slopes: Array) -> float | None:
    """The value at which the frequencies of the file are nearest to those seen; None where that is at an end."""
    fine = np.linspace(0.0, len(wide.fault.values) - 1.0, _FINE * len(wide.fault.values))
    rows = np.arange(len(wide.fault.values))
    squares = np.zeros(len(fine))
    for mode, frequency in zip(weighed.best, weighed.true_frequency, strict=True):
        if mode >= 0:
            away = np.interp(fine, rows, wide.log_frequency[:, mode]) - np.log(frequency)
            squares += away**2 / (float((slopes[mode] ** 2).sum()) + MODEL_ERROR**2)
    least = int(squares.argmin())
    if least in (0, len(fine) - 1):
        return None
    return float(np.exp(np.interp(fine[least], rows, np.log(wide.fault.values))))


def _write_value(
    prop: Prop,
    task: Task,
    fault: Fault,
    kind: str,
    value: float,
    changes: list[Change],
    says: list[str],
) -> None:
    rig = fault.apply(task.rig, np.array([value]))
    if kind == "clamp-softer":
        if any(support.form in ("strip", "line") for support in rig.supports):
            says.append("The clamp of a strip or a line is not written back as one number.")
            return
        if any(isinstance(support.root_stiffness, tuple) for support in prop.support):
            says.append("A root with three stiffnesses is not written back as one number.")
            return
        stiffness = float(f"{float(root_stiffness_of(rig)[0]):.4g}")
        changes.extend(
            Change(key="root_stiffness", support=index, value=stiffness) for index in range(len(prop.support))
        )
        says.append(f"root stiffness {stiffness:.3g} N*m/rad")
    elif kind == "prop-heavier":
        # An insert is added to what the file says; it is part of what was found heavier.
        mass = float(rig.mass[0]) - (float(task.rig.mass[0]) - prop.mass.m_as("kg"))
        changes.append(Change(key="mass", value=float(f"{mass:.4g}")))
        says.append(f"mass {mass_words(mass)}")
    else:
        place = tuple(float(f"{part:.5g}") for part in rig.centre_of_mass[0])
        changes.append(Change(key="centre_of_mass", value=place))
        says.append(f"centre of mass {value * 1e3:.2g} mm farther out")


def _write_stock(prop: Prop, ranked: Ranked, changes: list[Change], says: list[str]) -> None:
    assert ranked.predicted is not None  # only rigs come here
    assert ranked.weighed is not None
    name = ranked.predicted.fault.names[int(ranked.predicted.fault.values[ranked.weighed.place])]
    size = any(letter.isdigit() for letter in name.split("-")[0])
    if prop.support[0].section == "tube" and size:
        says.append(f"Change the tube's size to {name} in the file yourself.")
        return
    key = "diameter" if size else "material"
    changes.extend(Change(key=key, support=index, value=name) for index in range(len(prop.support)))
    says.append(f"{key} {name}")
