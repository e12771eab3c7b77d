"""What may be wrong with a rig, each as a batch of rigs with the fault growing, and their modes.

Each fault has one value: the softness of the clamp in diameters, a factor on the mass and so on. Its prior spreads
over values that occur and that lie outside the range which the value has anyway. The frequencies of the batch, and
how each input's range moves them, are all that the weighing of causes needs (`rigcheck.studies.explain_weights`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import RigcheckError
from rigcheck.model import Prop, Shot
from rigcheck.stock import stock_sizes
from rigcheck.studies.evaluate import Outcome, Settings, evaluate
from rigcheck.studies.inputs import Input, inputs_of, perturbed
from rigcheck.studies.reading import Reading
from rigcheck.studies.reading_supports import constants_of, stock_material
from rigcheck.studies.rigs import Rig, SupportRig, build_frame, repeat, stack, take
from rigcheck.studies.task import Task

__all__ = [
    "MODES",
    "Fault",
    "Predicted",
    "Uncertain",
    "faults_of",
    "predict",
    "root_stiffness_of",
    "uncertain",
    "varied",
]

Array = NDArray[np.float64]
Order = NDArray[np.intp]

MODES = 8
"""Modes that a component is held against."""
INERTIA_SPREAD = 0.1
"""Standard deviation of the logarithm of an inertia that was taken from an even body of that shape: a choice."""
_HOPELESS = 2.0
"""Linear sag over free length from which a rig with a fault is given up: one would see it hang down."""
_Z90 = 1.6448536269514722
_FINE = 49
_COARSE = 9
_CLOSE_PULL = 0.3
"""How much a distance in frequency counts against a likeness in shape when modes are followed."""
FIRM = 10.0
"""Diameters of free length that the softest clamp in the table adds; beyond, a clamp or joint does not hold."""
_MASS_ERROR = 0.2
"""Logarithm of a mass over which an error becomes less likely by a factor e: a choice."""
_CENTRE_ERROR = 0.35
"""The same for the centre of mass, as a share of the most it can be off: a choice."""
_SIZE_REACH = 0.15
"""Logarithm of sizes over which a mix-up becomes less likely by a factor e: a choice."""
_MATERIALS_SHARE = 0.4
_WRONG_WAY = 0.2
"""Share of the prior for the other direction: lighter, thicker."""
_MIX_UPS = (
    "music-wire",
    "stainless-304-spring",
    "spring-steel-sm",
    "brass-c260",
    "aluminium-1100-o",
    "carbon-rod",
    "glass-rod",
)
"""Materials that are taken for one another where wires and rods lie in one drawer; common practice, no source."""
_SIMILAR = 0.05
"""A mix-up that changes stiffness and mass by less than this share changes nothing that could be seen."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fault:
    """One thing that may be wrong.

    Attributes
    ----------
    id : str
        As in `Cause.id`.
    values : array, shape (n,)
        Its value, SI or a factor; the index where it has names.
    prior : array, shape (n,)
        How probable each value is, given the fault; sums to 1.
    names : tuple of str
        Of the values, where they are no numbers.
    apply : callable
        A rig of batch n and values (n,) to the rig with the fault.
    replaces : tuple of str
        Kinds of input that the value stands in for.
    logarithmic : bool
        Whether the values are spread evenly in their logarithm.
    """

    id: str
    values: Array
    prior: Array
    names: tuple[str, ...] = ()
    apply: Callable[[Rig, Array], Rig]
    replaces: tuple[str, ...] = ()
    logarithmic: bool = True


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


# -- the faults -----------------------------------------------------------------------------------------


def faults_of(shot: Shot, prop: Prop, reading: Reading) -> list[Fault]:
    """What may be wrong with a prop's rig, nothing first.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.

    Returns
    -------
    list of Fault
        ``as-described``, then those that the rig can have.
    """
    rig = reading.task.rig
    found = [Fault(id="as-described", values=np.ones(1), prior=np.ones(1), apply=lambda item, _: item)]
    if not any(support.form == "line" for support in rig.supports):
        found += [_softer_clamp(rig), _softer_joint(rig)]
    found += [_heavier(), _further_out(rig, prop)]
    thinner = _other_stock(shot, prop, rig)
    return found if thinner is None else [*found, thinner]


def _even(low: float, high: float, *, firm: float = np.inf) -> tuple[Array, Array]:
    """Values spread evenly in their logarithm, less and less probable beyond what is `firm`."""
    values = np.geomspace(low, high, _COARSE)
    return values, _summed_to_one(np.minimum(1.0, (firm / values) ** 2))


def _fading(values: Array, sizes: Array, usual: float) -> Array:
    """Prior of values of these sizes on an even row: errors of more than the usual size get rarer."""
    return _summed_to_one(np.exp(-sizes / usual)) * np.ones_like(values)


def _summed_to_one(weights: Array) -> Array:
    return np.asarray(weights / weights.sum())


def _with_supports(rig: Rig, change: Callable[[SupportRig], SupportRig]) -> Rig:
    return replace(rig, supports=tuple(change(support) for support in rig.supports))


def _softer_clamp(rig: Rig) -> Fault:
    """Extra free length in diameters where the clamp is described so or is rigid, else a factor on its give."""
    first = rig.supports[0]
    given = first.root_stiffness
    if given is not None and np.isfinite(given).any():
        values, prior = _even(1.3, 30.0, firm=FIRM)

        def soften(item: Rig, value: Array) -> Rig:
            return _with_supports(
                item,
                lambda support: (
                    support
                    if support.root_stiffness is None
                    else replace(support, root_stiffness=support.root_stiffness / value[:, None])
                ),
            )

        return Fault(id="clamp-softer", values=values, prior=prior, apply=soften, replaces=("clamp",))
    said = float(first.clamp_diameters[0])
    values, prior = _even(max(0.4, 1.6 * said), 30.0, firm=FIRM)

    def loosen(item: Rig, value: Array) -> Rig:
        return _with_supports(
            item,
            lambda support: replace(support, clamp_diameters=value, root_stiffness=None, root_in_place=False),
        )

    return Fault(id="clamp-softer", values=values, prior=prior, apply=loosen, replaces=("clamp",))


def _softer_joint(rig: Rig) -> Fault:
    """What joins the support to the prop gives: by diameters of free length, or by a factor where it does already."""
    tip = rig.supports[0]
    if tip.joint_stiffness is not None and np.isfinite(tip.joint_stiffness).any():
        values, prior = _even(1.5, 30.0, firm=FIRM)

        def give_more(item: Rig, value: Array) -> Rig:
            return _with_supports(
                item,
                lambda support: (
                    support
                    if support.joint_stiffness is None
                    else replace(support, joint_stiffness=support.joint_stiffness / value[:, None])
                ),
            )

        return Fault(id="joint-flexing", values=values, prior=prior, apply=give_more)
    values, prior = _even(0.7, 30.0, firm=FIRM)

    def give(item: Rig, value: Array) -> Rig:
        def change(support: SupportRig) -> SupportRig:
            bending = support.material.youngs_modulus * np.minimum(
                support.section.second_moment_y, support.section.second_moment_z
            )
            stiffness = bending / (value * support.across)
            return replace(support, joint_stiffness=np.repeat(stiffness[:, None], 3, axis=1))

        return _with_supports(item, change)

    return Fault(id="joint-flexing", values=values, prior=prior, apply=give)


def _heavier() -> Fault:
    light, heavy = np.geomspace(0.55, 0.92, 3), np.geomspace(1.08, 2.2, _COARSE - 3)
    prior = np.concatenate(
        [
            _WRONG_WAY * _fading(light, -np.log(light), _MASS_ERROR),
            (1 - _WRONG_WAY) * _fading(heavy, np.log(heavy), _MASS_ERROR),
        ]
    )

    def weigh(item: Rig, value: Array) -> Rig:
        return replace(item, mass=item.mass * value, inertia=item.inertia * value[:, None, None])

    return Fault(
        id="prop-heavier",
        values=np.concatenate([light, heavy]),
        prior=prior,
        apply=weigh,
        replaces=("mass",),
    )


def _further_out(rig: Rig, prop: Prop) -> Fault:
    """The centre of mass farther along the support than said, up to half the prop's length there."""
    points = rig.supports[0].points[0]
    way = (points[-1] - points[-2]) / np.linalg.norm(points[-1] - points[-2])
    reach = 0.2 * float(rig.supports[0].free_length[0])
    if prop.size is not None:
        reach = max(0.5 * float(np.abs(way) @ np.array([side.m_as("m") for side in prop.size])), 0.01)
    values = np.geomspace(0.12 * reach, reach, _COARSE)
    # Even in the offset itself up to the usual one, on a row that is even in its logarithm.
    prior = _summed_to_one(values * np.exp(-values / (_CENTRE_ERROR * reach)))

    def shift(item: Rig, value: Array) -> Rig:
        return replace(item, centre_of_mass=item.centre_of_mass + value[:, None] * way)

    return Fault(id="prop-further-out", values=values, prior=prior, apply=shift)


def _other_stock(shot: Shot, prop: Prop, rig: Rig) -> Fault | None:
    """Another size of the same stock, or another material of the same size; a thinner one where neither is known."""
    support = rig.supports[0]
    if any(item.sleeves or item.form != support.form for item in rig.supports):
        return None
    name = prop.support[0].material
    now = float(support.outer_size[0])
    variants: list[tuple[str, float, SupportRig]] = []
    if support.form in ("round", "tube") and shot.own_material(name) is None:
        same = stock_material(shot, name)
        for size in stock_sizes(name):
            if size.section != support.form or size.diameter is None:
                continue
            ratio = float(np.log(size.diameter / now))
            if not 0.01 < abs(ratio) < 0.5:
                continue
            across = np.array([size.diameter])
            changed = replace(
                support,
                diameter=across,
                wall_thickness=np.array([size.wall_thickness or np.nan]),
                material=replace(
                    constants_of(same, across), damping_ratio=support.material.damping_ratio.copy()
                ),
            )
            weight = np.exp(-abs(ratio) / _SIZE_REACH) * (1.0 if ratio < 0 else _WRONG_WAY)
            variants.append((size.label, weight, changed))
        variants = sorted(variants, key=lambda item: -item[1])[:_COARSE]
    sizes = sum(weight for _, weight, _ in variants)
    if support.form == "round":
        others = _mix_ups(shot, name, support)
        each = (_MATERIALS_SHARE / (1 - _MATERIALS_SHARE) * sizes or 1.0) / max(1, len(others))
        variants += [(other, each, changed) for other, changed in others]
    if not variants:
        values, prior = _even(0.7, 0.97)

        def thin(item: Rig, value: Array) -> Rig:
            return _with_supports(
                item,
                lambda one: replace(
                    one,
                    diameter=one.diameter * value,
                    thickness=one.thickness * value,
                    wall_thickness=one.wall_thickness * value,
                ),
            )

        return Fault(id="support-thinner", values=values, prior=prior, apply=thin, replaces=("diameter",))
    weights = np.array([weight for _, weight, _ in variants])
    table = stack([changed for _, _, changed in variants])

    def swap(item: Rig, value: Array) -> Rig:
        index = value.astype(int)
        chosen = take(table, index)

        def change(one: SupportRig) -> SupportRig:
            # The inputs' own deviations stay: they are of the piece, not of its name.
            share = one.diameter / support.diameter[0], one.wall_thickness / support.wall_thickness[0]
            stiff = one.material.youngs_modulus / support.material.youngs_modulus[0]
            return replace(
                one,
                diameter=chosen.diameter * share[0],
                wall_thickness=chosen.wall_thickness * share[1],
                material=replace(
                    chosen.material,
                    youngs_modulus=chosen.material.youngs_modulus * stiff,
                    shear_modulus=chosen.material.shear_modulus * stiff,
                    density=chosen.material.density * one.material.density / support.material.density[0],
                    damping_ratio=one.material.damping_ratio,
                ),
            )

        return _with_supports(item, change)

    return Fault(
        id="support-thinner",
        values=np.arange(len(variants), dtype=float),
        prior=weights / weights.sum(),
        names=tuple(name for name, _, _ in variants),
        apply=swap,
        logarithmic=False,
    )


def _mix_ups(shot: Shot, name: str, support: SupportRig) -> list[tuple[str, SupportRig]]:
    found = []
    for other in _MIX_UPS:
        if other == name:
            continue
        try:
            constants = constants_of(stock_material(shot, other), support.diameter)
        except RigcheckError:
            continue
        ratio = constants.youngs_modulus / support.material.youngs_modulus
        weight = constants.density / support.material.density
        if abs(float(np.log(ratio[0]))) < _SIMILAR and abs(float(np.log(weight[0]))) < _SIMILAR:
            continue
        material = replace(constants, damping_ratio=support.material.damping_ratio.copy())
        found.append((other, replace(support, material=material)))
    return found


# -- their modes ----------------------------------------------------------------------------------------


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
    return np.concatenate([np.eye(unsure.count), -np.eye(unsure.count)]) * _Z90


def _central(values: Array) -> Array:
    half = len(values) // 2
    return np.asarray((values[:half] - values[half:]) / (2 * _Z90))


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


def root_stiffness_of(rig: Rig) -> Array:
    """Rotational stiffness of the first root in bending, the head's own give left out [N m/rad].

    Parameters
    ----------
    rig : Rig
        A batch.

    Returns
    -------
    array, shape (B,)
        Infinite where rigid.
    """
    frame, _ = build_frame(replace(rig, axis_stiffness=None))
    stiffness = frame.supports[0].root_stiffness
    return np.asarray(np.min(np.asarray(stiffness)[..., 1:], axis=-1))
