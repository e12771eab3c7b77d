"""What can be otherwise than it was given: every input of a prop with its range, and rigs that have others."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.model import OwnMaterial, Prop, Shot
from rigcheck.stock import damping, find_clamp, practice, tolerance
from rigcheck.studies.reading.supports import stock_material
from rigcheck.studies.rigs import repeat
from rigcheck.studies.sampling import Z90
from rigcheck.studies.task import Task

if TYPE_CHECKING:
    from rigcheck.stock import Material as StockMaterial

__all__ = ["MEASUREMENTS", "Input", "inputs_of", "perturbed"]

Array = NDArray[np.float64]

MASS_SHARE, LENGTH_SLACK, CENTRE_SLACK = 0.02, 1e-3, 1e-3
"""Kitchen scales and a ruler: 2 % of the mass, 1 mm of the free length and of the centre of mass; common practice,
no source."""
_NOTHING = 1e-12
MEASUREMENTS = {
    "mass": "weigh the prop on kitchen scales",
    "centre": "balance the prop on an edge to find its centre of mass",
    "length": "measure the free length from jaw to tip with a steel rule",
    "diameter": "measure the support with a caliper or a micrometer",
    "stiffness": "hang a known weight on the bare support and measure how far its tip goes down",
    "bond": "hang a known weight on the bare support and measure how far its tip goes down",
    "density": "weigh a measured length of the support",
    "strength": "bend a spare piece with known weights until it keeps a bend",
    "clamp": "tap the rigged prop and film it at 120 fps: its frequency shows how soft the root is",
    "damping": "tap the rigged prop and film it at 120 fps until it is still",
    "move": "film the head alone at 120 fps to see what it really does",
}
"""What settles an input, by its kind."""


@dataclass(frozen=True, kw_only=True)
class Input:
    """One input with its range.

    Attributes
    ----------
    label : str
        For people.
    kind : str
        What it is, for the measurement that would settle it.
    value, low, high : float
        Median and the ends that one in twenty each lies beyond, SI.
    is_positive : bool
        Sampled on a logarithmic scale, so that it never reaches 0.
    source : str
        ``given`` in the file, or where the default is from.
    target : tuple
        Where it goes; see `perturbed`.
    """

    label: str
    kind: str
    value: float
    low: float
    high: float
    is_positive: bool
    source: str
    target: tuple[str, int]

    def at(self, deviate: Array) -> Array:
        """The values at standard normal deviates.

        Notes
        -----
        Two halves of a normal distribution (of the logarithm for what is positive) with the value as its median:
        at +-1.645 it is at its ends. The halves differ where the value is not in the middle of its range.
        """
        share = deviate / Z90
        if self.is_positive:
            up, down = np.log(self.high / self.value), np.log(self.value / self.low)
            return np.asarray(self.value * np.exp(share * np.where(share > 0, up, down)))
        return np.asarray(
            self.value + share * np.where(share > 0, self.high - self.value, self.value - self.low)
        )


def inputs_of(shot: Shot, prop: Prop) -> tuple[Input, ...]:
    """Every input of a prop that has a range, given or by default.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.

    Returns
    -------
    tuple of Input
    """
    found: list[Input] = []

    def add(label: str, kind: str, value: float, ends: tuple[float, float], source: str, target: Any) -> None:
        low, high = min(ends[0], value), max(ends[1], value)
        positive = kind not in ("centre", "bond")
        if high - low > _NOTHING * max(abs(value), abs(high)) and (not positive or low > 0):
            found.append(
                Input(
                    label=label,
                    kind=kind,
                    value=value,
                    low=low,
                    high=high,
                    is_positive=positive,
                    source=source,
                    target=target,
                )
            )

    def given(
        measured: Any, unit: str, label: str, kind: str, default: tuple[float, float] | None, target: Any
    ) -> None:
        if measured is None:
            return
        value, ends = measured.m_as(unit), measured.range_as(unit)
        if ends is not None:
            add(label, kind, value, ends, "given", target)
        elif default is not None:
            add(label, kind, value, default, "usual", target)

    mass = prop.mass.m_as("kg")
    usual = (mass * (1 - MASS_SHARE), mass * (1 + MASS_SHARE))
    given(prop.mass, "kg", "mass of the prop", "mass", usual, ("mass", 0))
    for axis, word in enumerate(("right", "up", "toward")):
        part = prop.centre_of_mass[axis]
        place = part.m_as("m")
        ends = (place - CENTRE_SLACK, place + CENTRE_SLACK)
        given(part, "m", f"centre of mass, {word}", "centre", ends, ("centre", axis))
    done: set[Any] = set()
    for number, support in enumerate(prop.support):
        several = f" of support {number + 1}" if len(prop.support) > 1 else ""
        stock, own = stock_material(shot, support.material), shot.own_material(support.material)
        size = support.thickness if support.section == "strip" else support.diameter
        across = 0.0 if size is None else size.m_as("m")
        if (support.material, "E") not in done:
            done.add((support.material, "E"))
            try:
                sized = stock.at(across)
            except ValidityError:
                sized = stock
            for key, kind, label in (
                ("youngs_modulus", "stiffness", "stiffness"),
                ("density", "density", "density"),
            ):
                datum = getattr(sized, key)
                ends = datum.bounds
                source = datum.mark
                typed = None if own is None else getattr(own, key)
                unit = "Pa" if key == "youngs_modulus" else "kg/m^3"
                if typed is not None and (known := typed.range_as(unit)) is not None:
                    ends, source = known, "given"
                add(f"{label} of {support.material}", kind, datum.value, ends, source, (key, number))
            _add_strength(sized, own, support.material, number, add)
        if support.section == "strand" and support.bond is None:
            guess = practice("strand-bond").datum
            label = f"hold between the wires{several}"
            add(label, "bond", guess.value, guess.bounds, guess.mark, ("bond", number))
        if size is not None:
            wall = None if support.wall is None else support.wall.m_as("m")
            try:
                limits = tolerance(support.material if own is None else stock, across, wall_thickness=wall)
            except ValidityError:
                default, wall_default = None, None
            else:
                default = (limits.low, limits.high)
                wall_default = (
                    None
                    if limits.wall_low is None or limits.wall_high is None
                    else (limits.wall_low, limits.wall_high)
                )
            label = "thickness" if support.section == "strip" else "diameter"
            if support.section != "threaded":  # its size is a name, which pitch and stress diameter follow
                given(size, "m", f"{label}{several}", "diameter", default, (label, number))
            given(support.wall, "m", f"wall{several}", "diameter", wall_default, ("wall_thickness", number))
            given(support.width, "m", f"width{several}", "diameter", None, ("width", number))
        if support.length is not None:
            value = support.length.m_as("m")
            slack = min(LENGTH_SLACK, 0.2 * value)
            ends = (value - slack, value + slack)
            given(support.length, "m", f"free length{several}", "length", ends, ("length", number))
        if support.clamp is not None and (support.clamp, "clamp") not in done:
            done.add((support.clamp, "clamp"))
            grip = None if support.grip is None else support.grip.m_as("m") / across
            extra = find_clamp(support.clamp).extra_length(grip_diameters=grip)
            if extra is not None:
                add(
                    f"softness of the {support.clamp}",
                    "clamp",
                    extra.value,
                    extra.bounds,
                    extra.mark,
                    ("clamp", number),
                )
        stiffness = support.root_stiffness
        if stiffness is not None and stiffness != "rigid" and not isinstance(stiffness, tuple):
            given(stiffness, "N*m/rad", f"root stiffness{several}", "clamp", None, ("root", number))
    first = shot.own_material(prop.support[0].material)
    if first is None or first.damping_ratio is None:
        guess = stock_material(shot, prop.support[0].material).damping_ratio
        ends = guess.bounds if guess.bounds[1] > guess.bounds[0] else damping().datum.bounds
        add("damping", "damping", guess.value, ends, guess.mark, ("damping", 0))
    if prop.axis is not None:
        given(prop.axis.stiffness, "N*m/rad", "stiffness of the head", "clamp", None, ("axis", 0))
    travels = 0
    for number, move in enumerate(prop.move):
        if move.kind == "acceleration":
            given(
                move.acceleration,
                "m/s^2",
                f"acceleration of move {number + 1}",
                "move",
                None,
                ("push", number - travels),
            )
            continue
        if move.keys is None:
            stroke, unit = (move.roll, "rad") if move.kind == "roll" else (move.slide, "m")
            if stroke is not None and stroke.m_as(unit) > 0:
                given(stroke, unit, f"stroke of move {number + 1}", "move", None, ("stroke", travels))
            given(move.duration, "s", f"duration of move {number + 1}", "move", None, ("duration", travels))
        travels += 1
    return tuple(found)


def _add_strength(
    stock: StockMaterial, own: OwnMaterial | None, name: str, number: int, add: Callable[..., None]
) -> None:
    try:
        datum = stock.working_strength()
    except ArgumentError:
        return
    ends, source = datum.bounds, datum.mark
    typed = None if own is None else own.tensile_strength if stock.brittle else own.yield_strength
    if typed is not None and (known := typed.range_as("Pa")) is not None:
        ends, source = known, "given"
    add(f"strength of {name}", "strength", datum.value, ends, source, ("strength", number))


def perturbed(task: Task, inputs: tuple[Input, ...], deviates: Array) -> Task:
    """The task with its inputs at the given deviates.

    Parameters
    ----------
    task : Task
        A batch of one.
    inputs : tuple of Input
        What varies.
    deviates : array, shape (n, inputs)
        Standard normal.

    Returns
    -------
    Task
        A batch of n.
    """
    count = len(deviates)
    rig = repeat(task.rig, count)
    supports = list(rig.supports)
    travels, pushes = list(repeat(task.travels, count)), list(repeat(task.pushes, count))
    materials = [support.material for support in task.rig.supports]
    for column, item in enumerate(inputs):
        value = item.at(deviates[:, column])
        factor = value / item.value if item.is_positive else value
        what, place = item.target
        if what == "mass":
            # `value` is of the prop alone; what an insert adds stays.
            rig = replace(
                rig, mass=rig.mass + (value - item.value), inertia=rig.inertia * factor[:, None, None]
            )
        elif what == "centre":
            centre = rig.centre_of_mass.copy()
            centre[:, place] += value - item.value
            rig = replace(rig, centre_of_mass=centre)
        elif what in ("youngs_modulus", "density", "strength"):
            for number, support in enumerate(supports):
                if materials[number].density[0] == materials[place].density[0] and (
                    materials[number].youngs_modulus[0] == materials[place].youngs_modulus[0]
                ):
                    changes: dict[str, Any] = {what: getattr(support.material, what) * factor}
                    if what == "youngs_modulus":
                        changes["shear_modulus"] = support.material.shear_modulus * factor
                    supports[number] = replace(support, material=replace(support.material, **changes))
        elif what in ("diameter", "thickness", "wall_thickness", "width"):
            resized: dict[str, Any] = {what: value}
            supports[place] = replace(supports[place], **resized)
        elif what == "length":
            points = supports[place].points
            tip = points[:, -1:]
            supports[place] = replace(supports[place], points=tip + (points - tip) * factor[:, None, None])
        elif what == "bond":
            supports[place] = replace(supports[place], bond=np.clip(value, 0.0, 1.0))
        elif what == "clamp":
            same = supports[place].clamp_diameters[0]
            supports = [
                replace(support, clamp_diameters=value) if support.clamp_diameters[0] == same else support
                for support in supports
            ]
        elif what == "root":
            stiffness = supports[place].root_stiffness
            assert stiffness is not None  # only a given stiffness has a range
            supports[place] = replace(supports[place], root_stiffness=stiffness * factor[:, None])
        elif what == "axis":
            assert rig.axis_stiffness is not None  # only a given stiffness has a range
            rig = replace(rig, axis_stiffness=rig.axis_stiffness * factor)
        elif what == "damping":
            supports = [
                replace(
                    support,
                    material=replace(support.material, damping_ratio=support.material.damping_ratio * factor),
                )
                for support in supports
            ]
        elif what == "push":
            pushes[place] = replace(pushes[place], acceleration=value)
        else:
            retimed: dict[str, Any] = {what: value}
            travels[place] = replace(travels[place], **retimed)
    # A thick tube drawn thinner than twice its wall is solid.
    supports = [
        replace(support, wall_thickness=np.minimum(support.wall_thickness, support.diameter / 2))
        if support.form == "tube"
        else support
        for support in supports
    ]
    return replace(
        task,
        rig=replace(rig, supports=tuple(supports)),
        travels=tuple(travels),
        pushes=tuple(pushes),
    )
