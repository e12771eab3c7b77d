"""Rig files of many shapes: mirrored rigs mirror, turned ones turn, inches agree with millimetres, reactions balance.

Laws of mechanics that hold whatever the rig, at any displacement; the rigs are drawn at random.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigcheck.files import rig_from_text
from rigcheck.studies.evaluate import Outcome, evaluate, listed_modes
from rigcheck.studies.reading.prop import read_prop

G = 9.80665
INCH = 25.4
MIRROR = np.diag([-1.0, 1.0, 1.0])
Vector = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Wire:
    """A support by its points [mm], from the first one's tip."""

    points: tuple[Vector, ...]
    diameter: float
    section: str = "round"
    sleeve: tuple[float, float] | None = None  # start and end over the length


@dataclass(frozen=True, kw_only=True)
class Given:
    mass: float  # [g]
    centre: Vector
    inertia: Vector  # [g m2], about right, up, toward
    wires: tuple[Wire, ...]


def near(centre: float, spread: float) -> st.SearchStrategy[float]:
    return st.integers(-10, 10).map(lambda step: centre + spread * step / 10)


def place(x: float, y: float, z: float, spread: float) -> st.SearchStrategy[Vector]:
    return st.tuples(near(x, spread), near(y, spread), near(z, spread))


def wires(tip: Vector, section: str) -> st.SearchStrategy[Wire]:
    return st.builds(
        lambda root, corner, bent, diameter, sleeve: Wire(
            points=(root, corner, tip) if bent else (root, tip),
            diameter=diameter,
            section=section,
            sleeve=sleeve,
        ),
        place(tip[0], tip[1], tip[2] - 200, 60),
        place(tip[0], tip[1], tip[2] - 90, 25),
        st.booleans(),
        st.sampled_from([2.0, 2.5, 3.0]),
        st.sampled_from([None, (0.2, 0.7)]) if section == "round" else st.none(),
    )


RIGS = st.builds(
    lambda mass, centre, inertia, first, second, several: Given(
        mass=mass, centre=centre, inertia=inertia, wires=(first, second) if several else (first,)
    ),
    st.sampled_from([30.0, 120.0, 300.0]),
    place(5, 5, 15, 15),
    st.tuples(*[st.sampled_from([0.05, 0.06, 0.075])] * 3),
    st.sampled_from(["round", "strip"]).flatmap(lambda section: wires((0.0, 0.0, 0.0), section)),
    wires((35.0, 10.0, 0.0), "round"),
    st.booleans(),
)


def file_of(rig: Given, matrix: np.ndarray | None = None, *, inches: bool = False) -> str:
    """The rig file, turned or mirrored by a matrix."""
    turn = np.eye(3) if matrix is None else matrix
    unit, scale = ("in", 1 / INCH) if inches else ("mm", 1.0)

    def length(value: float) -> str:
        return f'"{round(value, 9) * scale + 0.0:.15g} {unit}"'

    def vector(value: Vector) -> str:
        return "[" + ", ".join(length(float(part)) for part in turn @ np.array(value)) + "]"

    tensor = 1e-3 * turn @ np.diag(rig.inertia) @ turn.T
    entries = [*np.diag(tensor), tensor[0, 1], tensor[1, 2], tensor[2, 0]]
    mass = f"{rig.mass / 453.59237:.15g} lb" if inches else f"{rig.mass} g"
    text = f'[[prop]]\nname = "block"\nmass = "{mass}"\ncentre_of_mass = {vector(rig.centre)}\ninertia = ['
    text += ", ".join(f'"{round(value, 15) + 0.0:.15g} kg*m^2"' for value in entries) + "]\n"
    for number, wire in enumerate(rig.wires):
        tip = np.array(wire.points[-1])
        text += '[[prop.support]]\nmaterial = "music-wire"\nclamp = "collet"\n'
        if wire.section == "strip":
            text += f"width = {length(3 * wire.diameter)}\nthickness = {length(wire.diameter / 1.5)}\n"
        else:
            text += f"diameter = {length(wire.diameter)}\n"
        text += f"offset = {vector(wire.points[-1])}\n" if number else ""
        text += "path = [" + ", ".join(vector(tuple(np.array(point) - tip)) for point in wire.points) + "]\n"
        if wire.sleeve is not None:
            whole = float(np.linalg.norm(np.diff(np.array(wire.points), axis=0), axis=1).sum())
            start, end = (share * whole for share in wire.sleeve)
            text += (
                f'[[prop.support.sleeve]]\nmaterial = "brass-c260"\ndiameter = {length(wire.diameter + 1.5)}\n'
                f"wall = {length(0.7)}\nstart = {length(start)}\nend = {length(end)}\n"
            )
    return text


def settled(text: str) -> Outcome:
    shot = rig_from_text(text)
    task = read_prop(shot, shot.prop[0]).task
    return evaluate(task.rig, replace(task.settings, modes=6))


def same(found: Outcome, wanted: Outcome, matrix: np.ndarray, tolerance: float = 1e-6) -> None:
    """Places turn as vectors, turns and moments as axial vectors, frequencies and stresses not at all."""
    axial = matrix * np.linalg.det(matrix)
    assert bool(found.solved[0]) is bool(wanted.solved[0])
    assert bool(found.large[0]) is bool(wanted.large[0])
    if not wanted.solved[0]:
        return
    size = float(np.linalg.norm(wanted.displacement[0]))
    np.testing.assert_allclose(found.displacement[0], matrix @ wanted.displacement[0], atol=tolerance * size)
    turned = max(float(np.linalg.norm(wanted.rotation[0])), 1e-3)
    np.testing.assert_allclose(found.rotation[0], axial @ wanted.rotation[0], atol=tolerance * turned)
    for one, other in zip(found.root_moment, wanted.root_moment, strict=True):
        most = float(np.abs(other).max())
        np.testing.assert_allclose(one[0], axial @ other[0], atol=10 * tolerance * most)
    np.testing.assert_allclose(found.peak_stress, wanted.peak_stress, rtol=10 * tolerance)
    np.testing.assert_allclose(listed_modes(found)[0][:6], listed_modes(wanted)[0][:6], rtol=10 * tolerance)


@settings(max_examples=15, deadline=None)
@given(RIGS)
def test_a_mirrored_rig_mirrors(rig: Given) -> None:
    same(settled(file_of(rig, MIRROR)), settled(file_of(rig)), MIRROR)


@settings(max_examples=15, deadline=None)
@given(RIGS, st.sampled_from([30.0, 90.0, 180.0, 217.0]))
def test_turning_about_the_vertical_turns_the_answer_and_nothing_else(rig: Given, angle: float) -> None:
    c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
    turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    same(settled(file_of(rig, turn)), settled(file_of(rig)), turn)


@settings(max_examples=10, deadline=None)
@given(RIGS)
def test_inches_and_pounds_agree_with_millimetres_and_grams(rig: Given) -> None:
    same(settled(file_of(rig, inches=True)), settled(file_of(rig)), np.eye(3))


@settings(max_examples=15, deadline=None)
@given(RIGS)
def test_reactions_balance_the_weight_and_its_moment(rig: Given) -> None:
    outcome = settled(file_of(rig))
    if not outcome.solved[0]:
        return
    own = outcome.rig
    weight, about = np.array([0.0, -G * own.mass[0], 0.0]), own.centre_of_mass[0]
    if outcome.large[0]:
        about = about + outcome.displacement[0]
    total, moment = weight.copy(), np.cross(about, weight)
    for support, force, couple in zip(own.supports, outcome.root_force, outcome.root_moment, strict=True):
        total += force[0]
        moment += couple[0] + np.cross(support.points[0, 0], force[0])
        lines = [(0.0, 1.0, support.material.density[0] * support.section.area[0])]
        whole = float(support.free_length[0])
        for sleeve in support.sleeves:
            bore = sleeve.outer_diameter[0] - 2 * sleeve.wall_thickness[0]
            heavy = sleeve.material.density[0] * np.pi / 4 * (sleeve.outer_diameter[0] ** 2 - bore**2)
            lines.append((float(sleeve.start[0]) / whole, float(sleeve.end[0]) / whole, heavy))
        for start, end, per_length in lines:
            pull = np.array([0.0, -G * per_length * (end - start) * whole, 0.0])
            total += pull
            moment += np.cross(_middle(support.points[0], start, end), pull)
    size = G * own.mass[0]
    np.testing.assert_allclose(total, 0, atol=1e-6 * size)
    # With small displacements the moments are taken about the unloaded places, but gravity's stiffness moves them by
    # the sag; with large ones the supports' own weight, a tenth of the prop's at most, has moved too.
    slack = 1.5 * float(np.linalg.norm(outcome.displacement[0])) * size
    np.testing.assert_allclose(moment, 0, atol=slack + 1e-6 * size)


def _middle(points: np.ndarray, start: float, end: float) -> np.ndarray:
    """Centre of a part of a polyline, given by shares of its length."""
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum()
    shares = start + (end - start) * (np.arange(400) + 0.5) / 400
    return np.array([np.interp(shares, along, points[:, axis]).mean() for axis in range(3)])


def test_a_rig_of_its_own_mirror_image_moves_in_its_plane() -> None:
    wire = Wire(points=((20, 0, -200), (20, 0, 0)), diameter=2.5)
    twin = replace(wire, points=((-20, 0, -200), (-20, 0, 0)))
    rig = Given(mass=150, centre=(-20, 10, 15), inertia=(0.05, 0.06, 0.07), wires=(wire, twin))
    moved = replace(
        rig,
        wires=tuple(
            replace(one, points=tuple((x - 20, y, z) for x, y, z in one.points)) for one in rig.wires
        ),
    )
    outcome = settled(file_of(moved))
    assert outcome.displacement[0, 0] == pytest.approx(0, abs=1e-9)
    assert outcome.rotation[0, 1:] == pytest.approx([0, 0], abs=1e-9)
