"""What may be wrong with a rig, each as a batch of rigs with the fault growing.

Each fault has one value: the softness of the clamp in diameters, a factor on the mass and so on. Its prior spreads
over values that occur and that lie outside the range which the value has anyway.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import RigcheckError
from rigcheck.model import Prop, Shot
from rigcheck.stock import stock_sizes
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.reading.supports import constants_of, stock_material
from rigcheck.studies.rigs import Rig, SupportRig, build_frame, stack, take

__all__ = ["FIRM", "Fault", "faults_of", "root_stiffness_of"]

Array = NDArray[np.float64]

_COARSE = 9
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
