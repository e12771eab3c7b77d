"""The modes of a rig with each fault, followed from one value to the next, and how each input's range moves them.

Logarithms of frequencies, their slopes by the inputs, shapes and the share of the move that each mode takes: all
that the weighing of causes needs (`rigcheck.studies.explain.weights`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop, Shot
from rigcheck.studies.evaluate import Outcome, Settings, evaluate
from rigcheck.studies.explain.faults import Fault
from rigcheck.studies.inputs import Input, inputs_of, perturbed
from rigcheck.studies.rigs import Rig, repeat
from rigcheck.studies.sampling import Z90
from rigcheck.studies.task import Task

__all__ = ["INERTIA_SPREAD", "MODES", "Predicted", "Uncertain", "follow", "predict", "uncertain", "varied"]

Array = NDArray[np.float64]
Order = NDArray[np.intp]

MODES = 8
"""Modes that a component is held against."""
INERTIA_SPREAD = 0.1
"""Standard deviation of the logarithm of an inertia that was taken from an even body of that shape: a choice."""
_HOPELESS = 2.0
"""Linear sag over free length from which a rig with a fault is given up: one would see it hang down."""
_FINE = 49
_CLOSE_PULL = 0.3
"""How much a distance in frequency counts against a likeness in shape when modes are followed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Uncertain:
    """The inputs that have a range.

    Attributes
    ----------
    inputs : tuple of Input
        Those of the rig; damping and moves do not belong here.
    spreads_inertia : bool
        Whether the inertia is a guess too; it comes last.
    """

    inputs: tuple[Input, ...]
    spreads_inertia: bool

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.inputs) + self.spreads_inertia


@dataclass(frozen=True, kw_only=True, eq=False)
class Predicted:
    """What a fault does to the modes, at n of its values.

    Attributes
    ----------
    fault : Fault
        With values and prior of shape (n,).
    log_frequency : array, shape (n, m)
        Natural logarithm of the frequencies [Hz], inputs at their medians; each column follows one mode.
    slopes : array, shape (m, k)
        Change of the same for one standard deviation of each input.
    shape : array, shape (n, 6, m)
        Displacement and rotation of the prop.
    participation : array, shape (n, m, 3)
        Modal force of unit accelerations.
    log_sag : array, shape (n,), or None
        Logarithm of the further sag under a hung mass [m].
    sag_slopes : array, shape (k,), or None
        Of the same.
    """

    fault: Fault
    log_frequency: Array
    slopes: Array
    shape: Array
    participation: Array
    log_sag: Array | None = None
    sag_slopes: Array | None = None


def uncertain(shot: Shot, prop: Prop) -> Uncertain:
    """The inputs of a prop that move its frequencies.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.

    Returns
    -------
    Uncertain
    """
    inputs = tuple(item for item in inputs_of(shot, prop) if item.kind not in ("damping", "move"))
    return Uncertain(inputs=inputs, spreads_inertia=prop.inertia is None and prop.size is not None)


def varied(task: Task, unsure: Uncertain, deviates: Array) -> Rig:
    """The rig with its inputs at the given deviates.

    Parameters
    ----------
    task : Task
        A batch of one.
    unsure : Uncertain
        What varies.
    deviates : array, shape (n, k)
        Standard normal.

    Returns
    -------
    Rig
        A batch of n.
    """
    rig = perturbed(task, unsure.inputs, deviates[:, : len(unsure.inputs)]).rig
    if unsure.spreads_inertia:
        rig = replace(rig, inertia=rig.inertia * np.exp(INERTIA_SPREAD * deviates[:, -1])[:, None, None])
    return rig


def predict(
    task: Task, unsure: Uncertain, faults: list[Fault], *, hung: float | None = None
) -> list[Predicted]:
    """Modes of the rig with each fault.

    Parameters
    ----------
    task : Task
        The rig as described, a batch of one.
    unsure : Uncertain
        Its inputs with ranges.
    faults : list of Fault
        ``as-described`` first.
    hung : float, optional
        A mass hung at the prop's centre of mass [kg], for its further sag.

    Returns
    -------
    list of Predicted
        For each fault that leaves a settled rig, on a finer row of values where they are numbers. Without sag where
        the rig as described would not hold the hung mass.

    Notes
    -----
    Where the rig sags far, its modes come from the large-displacement solution. The slopes by the inputs are then
    those of the linear one: logarithms of frequencies, in which what both have in common drops out.
    """
    base = evaluate(task.rig, _every_mode(task.settings))
    reference = _Reference.of(base)
    deviations = _deviations(task, unsure, base)
    slopes = _slopes(deviations, reference)
    sag_slopes = None
    if hung is not None:
        sag_slopes = _central(_log_further_sag(deviations, hung)[:, None])[:, 0]
        if not (np.isfinite(_log_further_sag(base, hung)).all() and np.isfinite(sag_slopes).all()):
            hung = sag_slopes = None  # with that on it the rig as described does not hold, or goes nowhere
    result = []
    for fault in faults:
        followed = _followed(task, fault, base, reference)
        if followed is None:
            continue
        outcome, kept, predicted = followed
        keep = np.array([item.kind not in fault.replaces for item in unsure.inputs] + [True])[: unsure.count]
        predicted = replace(
            predicted,
            slopes=slopes.T * keep,
            log_sag=None if hung is None else _log_further_sag(outcome, hung)[kept],
            sag_slopes=None if sag_slopes is None else sag_slopes * keep,
        )
        result.append(_finer(predicted))
    return result


def follow(task: Task, fault: Fault, *, hung: float | None = None) -> Predicted | None:
    """Modes of the rig with one fault, every input as given, at the fault's own values.

    Parameters
    ----------
    task : Task
        The rig as described, a batch of one.
    fault : Fault
        What is wrong.
    hung : float, optional
        A mass hung at the prop's centre of mass [kg], for its further sag.

    Returns
    -------
    Predicted or None
        Without slopes; None where no value leaves a settled rig.
    """
    base = evaluate(task.rig, _every_mode(task.settings))
    followed = _followed(task, fault, base, _Reference.of(base))
    if followed is None:
        return None
    outcome, kept, predicted = followed
    return predicted if hung is None else replace(predicted, log_sag=_log_further_sag(outcome, hung)[kept])


def _followed(
    task: Task, fault: Fault, base: Outcome, reference: _Reference
) -> tuple[Outcome, Order, Predicted] | None:
    """The rigs with a fault, which of them settle, and their modes in the order of the reference."""
    if fault.id == "as-described":
        outcome = base
    else:
        rig = fault.apply(repeat(task.rig, len(fault.values)), fault.values)
        outcome = evaluate(rig, _giving_up(task.settings))
    kept = np.flatnonzero(outcome.solved)
    if not len(kept):
        return None
    order = _follow(outcome, kept, fault, reference)
    dynamics = outcome.dynamics
    return (
        outcome,
        kept,
        Predicted(
            fault=replace(
                fault, values=fault.values[kept], prior=fault.prior[kept] / fault.prior[kept].sum()
            ),
            log_frequency=np.log(np.take_along_axis(outcome.natural_frequency[kept], order, axis=1)),
            slopes=np.zeros((order.shape[1], 0)),
            shape=np.take_along_axis(dynamics.shape[kept], order[:, None, :], axis=2),
            participation=np.take_along_axis(dynamics.participation[kept], order[:, :, None], axis=1)[
                ..., :3
            ],
        ),
    )


def _giving_up(settings: Settings) -> Settings:
    """Settings with which a rig that a fault leaves without any stiffness is given up early."""
    return replace(_every_mode(settings), too_soft=_HOPELESS)


def _every_mode(settings: Settings) -> Settings:
    """Settings that keep every mode that moves the prop at all, so that each can be followed from rig to rig."""
    return replace(settings, least_share=0.0, modes=max(settings.modes, 3 * MODES))


def _steps(unsure: Uncertain) -> Array:
    """Each input at the ends of its range, one after another: (2 k, k)."""
    return np.concatenate([np.eye(unsure.count), -np.eye(unsure.count)]) * Z90


def _central(values: Array) -> Array:
    half = len(values) // 2
    return np.asarray((values[:half] - values[half:]) / (2 * Z90))


def _deviations(task: Task, unsure: Uncertain, base: Outcome) -> Outcome:
    """The rigs with one input at an end of its range each."""
    settings = _every_mode(task.settings)
    if base.large[0] and settings.displacement == "auto":
        linear = replace(settings, displacement="linear")
        if evaluate(task.rig, linear).solved[0]:
            settings = linear
    return evaluate(varied(task, unsure, _steps(unsure)), settings)


def _slopes(deviations: Outcome, reference: _Reference) -> Array:
    """Change of the logarithm of each frequency for a standard deviation of each input, (k, m)."""
    order = np.stack([reference.matched(deviations, row) for row in range(deviations.rig.batch)])
    return _central(np.log(np.take_along_axis(deviations.natural_frequency, order, axis=1)))


def _log_further_sag(still: Outcome, hung: float) -> Array:
    loaded = evaluate(replace(still.rig, mass=still.rig.mass + hung), still.settings)
    more = np.where(loaded.solved & still.solved, loaded.sag - still.sag, np.nan)
    return np.asarray(np.log(np.where(more > 0, more, np.nan)))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Reference:
    """The modes that others are followed from: shape (6, m), frequency (m,), and the prop's mass matrix (6, 6)."""

    shape: Array
    angular_frequency: Array
    mass: Array

    @staticmethod
    def of(outcome: Outcome, row: int = 0, order: Order | None = None) -> _Reference:
        if order is None:
            order = np.arange(min(MODES, outcome.natural_frequency.shape[1]))
        mass = np.zeros((6, 6))
        mass[:3, :3] = outcome.rig.mass[row] * np.eye(3)
        mass[3:, 3:] = outcome.rig.inertia[row]
        dynamics = outcome.dynamics
        return _Reference(
            shape=dynamics.shape[row][:, order],
            angular_frequency=dynamics.angular_frequency[row, order],
            mass=mass,
        )

    def matched(self, outcome: Outcome, row: int) -> Order:
        """Modes of a row that are most like these in turn: by shape, and by frequency where shapes are alike."""
        dynamics = outcome.dynamics
        wanted = len(self.angular_frequency)
        count = min(dynamics.shape.shape[2], wanted + 4)
        like = (self.shape.T @ self.mass @ dynamics.shape[row][:, :count]) ** 2
        far = np.abs(np.log(dynamics.angular_frequency[row, None, :count] / self.angular_frequency[:, None]))
        score = like - _CLOSE_PULL * far
        result = np.full(wanted, -1, dtype=np.intp)
        for _ in range(wanted):
            first, second = np.unravel_index(int(score.argmax()), score.shape)
            result[first] = second
            score[first], score[:, second] = -np.inf, -np.inf
        return result


def _follow(outcome: Outcome, kept: Order, fault: Fault, reference: _Reference) -> Order:
    """The order of the modes at each kept value that follows those of the reference, (n, m)."""
    if fault.names:
        return np.stack([reference.matched(outcome, int(row)) for row in kept])
    # From the value nearest to no fault on, so that each step is a small one.
    away = np.abs(np.log(outcome.dynamics.angular_frequency[kept, 0] / reference.angular_frequency[0]))
    orders = np.zeros((len(kept), len(reference.angular_frequency)), dtype=np.intp)
    for place in np.argsort(away, kind="stable"):
        row = int(kept[place])
        orders[place] = reference.matched(outcome, row)
        reference = _Reference.of(outcome, row, orders[place])
    return orders


def _finer(predicted: Predicted) -> Predicted:
    """The same on a finer row of values, straight between those computed; names stay as they are."""
    fault = predicted.fault
    if fault.names or len(fault.values) < 3:
        return predicted
    coarse = np.log(fault.values)
    fine = np.linspace(coarse[0], coarse[-1], _FINE)
    place = np.interp(fine, coarse, np.arange(len(coarse)))
    left = np.minimum(place.astype(int), len(coarse) - 2)
    share = place - left

    def between(values: Array) -> Array:
        weight = share.reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray(values[left] * (1 - weight) + values[left + 1] * weight)

    # The prior is given per value computed: as a density over the logarithm it is spread out and summed again.
    width = np.gradient(coarse)
    prior = np.interp(fine, coarse, fault.prior / width)
    nearest = np.where(share > 0.5, left + 1, left)
    return replace(
        predicted,
        fault=replace(fault, values=np.exp(fine), prior=prior / prior.sum()),
        log_frequency=between(predicted.log_frequency),
        shape=predicted.shape[nearest],
        participation=predicted.participation[nearest],
        log_sag=None if predicted.log_sag is None else between(predicted.log_sag),
    )
