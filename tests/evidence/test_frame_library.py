"""Bent, several and sleeved supports against a general-purpose frame library: PyNiteFEA (MIT licence).

The library knows nothing of props: here the prop is stiff massless members that carry six masses, which have its
mass, its centre of mass and its inertia between them. Its beams are slender (no shear) with the consistent mass of
the cubic element, so the engine leaves shear and rotary inertia out too; small displacements, and weight that adds
no stiffness, on both sides. Goal 1e-3 for the first six modes, the displacement, and the stress at roots, corners,
sleeve ends and tips.

The library wants a newer numpy than this project does, so it is in the extra `dev`, with which `.ci/run` and the
README run the tests, and not in `test`; without it this file is skipped.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.evaluate import Outcome, evaluate, listed_modes, stress_of
from rigcheck.studies.reading.prop import read_prop

FEModel3D = pytest.importorskip("Pynite").FEModel3D

pytestmark = pytest.mark.evidence(
    what="Bent, several and sleeved supports: displacement, stress and six modes",
    source="PyNiteFEA, a general-purpose frame library",
    serves="check",
)

G = 9.80665
PIECES = 12
"""Members for each straight piece: halving them from 6 to 12 moves the sixth frequency by 3e-5 at most."""
RIGID = 1e3
"""Stiffness of the prop's members over that of steel; they are thicker too, and give 1e-5 of the rest."""

# E, G [Pa], density [kg/m3]: rig files with materials of their own, so that no number is taken from stock.
STEEL, BRASS = (200e9, 77e9, 7850.0), (105e9, 39e9, 8500.0)
MATERIALS = """
[analysis]
displacement = "linear"
gravity_stiffness = false
shear = false
[[material]]
name = "steel"
density = "7850 kg/m^3"
youngs_modulus = "200 GPa"
shear_modulus = "77 GPa"
yield_strength = "1 GPa"
damping_ratio = 0.003
[[material]]
name = "brass"
density = "8500 kg/m^3"
youngs_modulus = "105 GPa"
shear_modulus = "39 GPa"
yield_strength = "1 GPa"
damping_ratio = 0.003
"""


@dataclass(frozen=True, kw_only=True)
class Tube:
    outer: float
    wall: float
    start: float
    end: float


@dataclass(frozen=True, kw_only=True)
class Wire:
    points: tuple[tuple[float, float, float], ...]  # [mm], from the first support's tip
    diameter: float  # [mm]
    tubes: tuple[Tube, ...] = ()
    springs: tuple[float, float, float] | None = None  # about right, up, toward [N m/rad]


@dataclass(frozen=True, kw_only=True)
class Case:
    wires: tuple[Wire, ...]
    mass: float = 0.25
    centre: tuple[float, float, float] = (12.0, 8.0, 20.0)
    inertia: tuple[float, float, float] = (9e-5, 7e-5, 11e-5)


CASES = {
    "bent in space, two corners": Case(
        wires=(Wire(points=((-30, -40, -180), (-30, 0, -120), (10, 15, -60), (0, 0, 0)), diameter=3),)
    ),
    "sleeves that do not start at the jaw": Case(
        wires=(
            Wire(
                points=((0, 0, -200), (0, 0, 0)),
                diameter=3,
                tubes=(
                    Tube(outer=4, wall=0.45, start=20, end=90),
                    Tube(outer=5, wall=0.9, start=120, end=150),
                ),
            ),
        )
    ),
    "two unlike, bent, one sleeved over its corner, on springs": Case(
        wires=(
            Wire(
                points=((0, 60, -160), (0, 30, -60), (0, 0, 0)),
                diameter=2.5,
                tubes=(Tube(outer=4, wall=0.7, start=60, end=130),),
                springs=(40.0, 25.0, 60.0),
            ),
            Wire(points=((45, -20, -190), (30, -5, -30), (30, -5, 0)), diameter=2),
        )
    ),
    "three from three sides": Case(
        wires=(
            Wire(points=((0, 0, -150), (0, 0, 0)), diameter=2),
            Wire(points=((-140, 30, 20), (-20, 5, 20)), diameter=1.5),
            Wire(points=((60, 130, 30), (25, 20, 30)), diameter=2.5),
        )
    ),
}


def text_of(case: Case) -> str:
    def lengths(vector: tuple[float, float, float]) -> str:
        return "[" + ", ".join(f'"{value:g} mm"' for value in vector) + "]"

    text = (
        MATERIALS
        + f'[[prop]]\nname = "block"\nmass = "{case.mass} kg"\ncentre_of_mass = {lengths(case.centre)}\n'
    )
    text += "inertia = [" + ", ".join(f'"{value} kg*m^2"' for value in case.inertia) + "]\n"
    for number, wire in enumerate(case.wires):
        tip = np.array(wire.points[-1], dtype=float)
        path = ", ".join(lengths(tuple(np.array(point) - tip)) for point in wire.points)
        text += f'[[prop.support]]\nmaterial = "steel"\ndiameter = "{wire.diameter} mm"\npath = [{path}]\n'
        text += f"offset = {lengths(tuple(tip))}\n" if number else ""
        springs = ", ".join(f'"{value} N*m/rad"' for value in wire.springs or ())
        text += f"root_stiffness = [{springs}]\n" if springs else 'root_stiffness = "rigid"\n'
        for tube in wire.tubes:
            text += (
                f'[[prop.support.sleeve]]\nmaterial = "brass"\ndiameter = "{tube.outer} mm"\n'
                f'wall = "{tube.wall} mm"\nstart = "{tube.start} mm"\nend = "{tube.end} mm"\n'
            )
    return text


def ours(case: Case) -> Outcome:
    shot = rig_from_text(text_of(case))
    task = read_prop(shot, shot.prop[0]).task
    outcome = evaluate(task.rig, task.settings)
    assert not outcome.large[0]
    return outcome


@dataclass
class Piece:
    """A straight piece between corners and sleeve ends, as it is in both models."""

    wire: int
    start: np.ndarray
    stop: np.ndarray
    layers: list[tuple[float, float, tuple[float, float, float]]]  # outer and inner diameter [m], material
    members: list[str]


def pieces_of(case: Case) -> list[Piece]:
    found = []
    for number, wire in enumerate(case.wires):
        points = 1e-3 * np.array(wire.points, dtype=float)
        corners = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
        marks = {round(float(value), 9) for value in corners}
        marks |= {round(1e-3 * value, 9) for tube in wire.tubes for value in (tube.start, tube.end)}
        places = sorted(marks)
        at = np.array([[np.interp(place, corners, points[:, axis]) for axis in range(3)] for place in places])
        for index in range(len(places) - 1):
            middle = 1e3 * (places[index] + places[index + 1]) / 2
            layers = [(1e-3 * wire.diameter, 0.0, STEEL)]
            layers += [
                (1e-3 * tube.outer, 1e-3 * (tube.outer - 2 * tube.wall), BRASS)
                for tube in wire.tubes
                if tube.start < middle < tube.end
            ]
            found.append(Piece(wire=number, start=at[index], stop=at[index + 1], layers=layers, members=[]))
    return found


def area(outer: float, inner: float) -> float:
    return np.pi / 4 * (outer**2 - inner**2)


def second(outer: float, inner: float) -> float:
    return np.pi / 64 * (outer**4 - inner**4)


class Library:
    """The same rig in the library."""

    def __init__(self, case: Case, cuts: int = PIECES) -> None:
        self.model = model = FEModel3D()
        self.pieces = pieces_of(case)
        centre = 1e-3 * np.array(case.centre)
        tips = {}
        count = 0
        for number, piece in enumerate(self.pieces):
            kind = f"piece {number}"
            base = STEEL[0]
            stretch = sum(E * area(*size) for *size, (E, _, _) in piece.layers)
            bend = sum(E * second(*size) for *size, (E, _, _) in piece.layers)
            twist = sum(shear * 2 * second(*size) for *size, (_, shear, _) in piece.layers)
            mass = sum(density * area(*size) for *size, (_, _, density) in piece.layers)
            model.add_material(kind, base, STEEL[1], 0.3, mass / (stretch / base))
            model.add_section(kind, stretch / base, bend / base, bend / base, twist / STEEL[1])
            first = number == 0 or self.pieces[number - 1].wire != piece.wire
            for index in range(cuts + 1):
                if index == 0 and not first:
                    continue
                x, y, z = piece.start + (piece.stop - piece.start) * index / cuts
                count += 1
                model.add_node(f"n{count}", x, y, z)
                if index == 0:
                    self._hold(f"n{count}", case.wires[piece.wire].springs)
                    continue
                name = f"m{count}"
                model.add_member(name, f"n{count - 1}", f"n{count}", kind, kind)
                piece.members.append(name)
            tips[piece.wire] = f"n{count}"
        model.add_member_self_weight("FY", -1.0, "own")
        self._prop(case, centre, list(tips.values()))
        model.add_load_combo("mass", {"own": 1.0})
        model.add_load_combo("weight", {"own": G})

    def _hold(self, node: str, springs: tuple[float, float, float] | None) -> None:
        turns = [springs is None] * 3
        self.model.def_support(node, True, True, True, *turns)
        for axis, value in zip(("RX", "RY", "RZ"), springs or (), strict=False):
            self.model.def_support_spring(node, axis, value)

    def _prop(self, case: Case, centre: np.ndarray, tips: list[str]) -> None:
        model = self.model
        model.add_material("rigid", RIGID * STEEL[0], RIGID * STEEL[1], 0.3, 1e-12)
        size = 8e-3
        model.add_section("rigid", area(size, 0), second(size, 0), second(size, 0), 2 * second(size, 0))
        model.add_node("centre", *centre)
        for number, tip in enumerate(tips):
            model.add_member(f"arm {number}", tip, "centre", "rigid", "rigid")
        # Six masses m / 6 at +-a_i: the planar moments int x_i^2 dm = tr(I)/2 - I_i are m a_i^2 / 3.
        inertia = np.array(case.inertia)
        for axis, planar in enumerate(inertia.sum() / 2 - inertia):
            for side in (-1, 1):
                name = f"mass {axis}{side}"
                offset = np.zeros(3)
                offset[axis] = side * np.sqrt(3 * planar / case.mass)
                model.add_node(name, *(centre + offset))
                model.add_member(f"to {name}", "centre", name, "rigid", "rigid")
                model.add_node_load(name, "FY", -case.mass / 6, "own")

    def frequencies(self, count: int = 6) -> np.ndarray:
        self.model.analyze_modal(count, "mass", "Y", 1.0)
        return np.sort(np.array(self.model.frequencies))

    def settle(self) -> None:
        # Its check of stability asks for forces out of balance that rounding in the stiff prop does not allow.
        self.model.analyze_linear(check_stability=False)

    def prop(self) -> np.ndarray:
        node = self.model.nodes["centre"]
        return np.array([getattr(node, name)["weight"] for name in ("DX", "DY", "DZ", "RX", "RY", "RZ")])

    def stress(self, piece: Piece, end: int) -> list[float]:
        """Largest von Mises stress of each layer at one end of a piece: bending and pull with twist."""
        member = self.model.members[piece.members[0 if end == 0 else -1]]
        place = 0.0 if end == 0 else member.L()
        moment = np.hypot(member.moment("Mz", place, "weight"), member.moment("My", place, "weight"))
        torque, pull = member.torque(place, "weight"), member.axial(place, "weight")
        stretch = sum(E * area(*size) for *size, (E, _, _) in piece.layers)
        bend = sum(E * second(*size) for *size, (E, _, _) in piece.layers)
        twist = sum(shear * 2 * second(*size) for *size, (_, shear, _) in piece.layers)
        result = []
        for outer, _, (E, shear, _) in piece.layers:
            along = E * (abs(pull) / stretch + moment * outer / 2 / bend)
            result.append(float(np.hypot(along, np.sqrt(3) * shear * torque * outer / 2 / twist)))
        return result


@pytest.fixture(scope="module", params=list(CASES))
def both(request: pytest.FixtureRequest) -> tuple[Outcome, Library]:
    case = CASES[request.param]
    return ours(case), Library(case)


def test_first_six_modes(both: tuple[Outcome, Library]) -> None:
    outcome, library = both
    omega, _ = listed_modes(outcome)
    np.testing.assert_allclose(omega[:6] / (2 * np.pi), library.frequencies(), rtol=3e-4)


def test_settled_prop(both: tuple[Outcome, Library]) -> None:
    outcome, library = both
    library.settle()
    expected = library.prop()
    found = np.concatenate([outcome.displacement[0], outcome.rotation[0]])
    for part in (slice(0, 3), slice(3, 6)):
        np.testing.assert_allclose(found[part], expected[part], atol=3e-4 * np.abs(expected[part]).max())


def test_stress_at_roots_corners_sleeve_ends_and_tips(both: tuple[Outcome, Library]) -> None:
    outcome, library = both
    library.settle()
    stress = stress_of(outcome.parts, outcome.forces)
    places = sorted({(part.support, part.segment) for part in outcome.parts})
    assert len(places) == len(library.pieces)
    largest = max(float(part.max()) for part in stress)
    for place, piece in zip(places, library.pieces, strict=True):
        own = [
            values
            for part, values in zip(outcome.parts, stress, strict=True)
            if (part.support, part.segment) == place
        ]
        for end, station in ((0, 0), (1, -1)):
            for layer, expected in zip(own, library.stress(piece, end), strict=True):
                # The transverse shear, which matters only where nothing bends, is not in the library's figure.
                assert float(layer[0, station]) == pytest.approx(expected, rel=1e-3, abs=1e-3 * largest)


def test_the_reference_is_converged() -> None:
    case = CASES["two unlike, bent, one sleeved over its corner, on springs"]
    coarse, fine = Library(case, PIECES // 2).frequencies(), Library(case).frequencies()
    np.testing.assert_allclose(coarse, fine, rtol=1e-4)
