"""The whole way, rig file to JSON, against closed forms computed here.

Every rig is written as a file with a material of its own and given to ``rigcheck check FILE --json``. The
JSON carries 12 significant digits; where no other limit is named, tolerances are what the theory itself
leaves out (the mass of a support that counts as massless) or the order of the arithmetic.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.integrate import cumulative_simpson, quad, solve_ivp
from scipy.optimize import brentq

from rigcheck.cli import commands

pytestmark = pytest.mark.evidence(
    what="The whole way from rig file to JSON: sag, stress, modes, buckling, settle time, pixels",
    source=(
        "Roark, Blevins, Timoshenko and Gere, Harris, Norton (from memory); quadrature and integration "
        "by scipy"
    ),
    serves="check",
)

GRAVITY = 9.80665
"""Standard gravity [m/s2], exact by definition (3rd CGPM, 1901)."""
HEAVY, WEIGHTLESS = 7850.0, 1e-3
"""Densities [kg/m3]: of steel, and so little that a support of it weighs 1e-8 of its prop."""


@dataclass(frozen=True, kw_only=True)
class Wire:
    """A straight round wire with a prop at its tip, and what the closed forms need of it; SI units."""

    youngs_modulus: float = 200e9
    shear_modulus: float = 77e9
    density: float = HEAVY
    yield_strength: float = 1e9
    damping_ratio: float = 0.01
    diameter: float = 3e-3
    length: float = 0.18
    mass: float = 0.2
    reach: float = 0.0
    side: str = "behind"
    more_support: str = ""
    more_prop: str = ""
    head: str = ""
    moves: str = ""

    @property
    def bending(self) -> float:
        """EI; I of a solid round is pi d^4/64."""
        return self.youngs_modulus * np.pi * self.diameter**4 / 64

    @property
    def per_length(self) -> float:
        return self.density * np.pi * self.diameter**2 / 4

    @property
    def weight(self) -> float:
        return self.mass * GRAVITY

    @property
    def modulus(self) -> float:
        """Elastic section modulus pi d^3/32."""
        return np.pi * self.diameter**3 / 32

    def file(self, analysis: str = "") -> str:
        """The rig file; lengths in mm, as people write them."""
        root = np.array(
            {"behind": (0, 0, -1), "front": (0, 0, 1), "left": (-1, 0, 0), "right": (1, 0, 0),
             "above": (0, 1, 0), "below": (0, -1, 0)}[self.side]
        )  # fmt: skip
        centre = ", ".join(f'"{float(part)!r} mm"' for part in -root * self.reach * 1e3 + 0.0)
        stiffness = "" if "stiffness" in self.more_support else 'root_stiffness = "rigid"'
        return f"""
{self.head}
[analysis]
{analysis}
[[material]]
name = "own"
density = "{self.density!r} kg/m^3"
youngs_modulus = "{self.youngs_modulus / 1e9!r} GPa"
shear_modulus = "{self.shear_modulus / 1e9!r} GPa"
yield_strength = "{self.yield_strength / 1e6!r} MPa"
damping_ratio = {self.damping_ratio!r}
[[prop]]
name = "inkwell"
mass = "{self.mass * 1e3!r} g"
centre_of_mass = [{centre}]
{self.more_prop}
[[prop.support]]
material = "own"
diameter = "{self.diameter * 1e3!r} mm"
length = "{self.length * 1e3!r} mm"
from = "{self.side}"
{stiffness}
{self.more_support}
{self.moves}
"""


PLAIN = 'displacement = "linear"\ngravity_stiffness = false\nshear = false'


@pytest.fixture
def run(tmp_path: Path):
    """Give the prop's part of what ``check FILE --json`` prints, with the exit code."""

    def run_file(text: str) -> dict[str, Any]:
        file = tmp_path / "rig.toml"
        file.write_text(text, encoding="utf-8")
        result = CliRunner().invoke(commands, ["check", str(file), "--json"])
        assert result.exit_code in (0, 1), result.output
        whole = json.loads(result.stdout)
        assert whole["format"] == "rigcheck-check/1"
        assert result.exit_code == (whole["verdict"] == "fail")
        return whole["props"][0]

    return run_file


def sags(wire: Wire, root_compliance: float = 0.0, shear: float = np.inf) -> dict[str, Any]:
    """Settled state of a level cantilever with an end load, the end moment of the reach, and its own weight.

    Roark's Formulas for Stress and Strain, table of beams, cantilever with end load, end couple and uniform
    load (from memory); a soft root's turn and the shear, F L/kGA and q L^2/2kGA, are added (derived here).
    """
    L, EI, P, a, q = wire.length, wire.bending, wire.weight, wire.reach, wire.per_length * GRAVITY
    moment = P * (L + a) + q * L**2 / 2
    turn = P * L**2 / (2 * EI) + P * a * L / EI + q * L**3 / (6 * EI) + moment * root_compliance
    tip = P * L**3 / (3 * EI) + P * a * L**2 / (2 * EI) + q * L**4 / (8 * EI)
    tip += moment * root_compliance * L + (P * L + q * L**2 / 2) / shear
    return {"tip": tip, "turn": turn, "sag": tip + a * turn, "moment": moment}


# -- settled state --------------------------------------------------------------------------------------


def test_level_cantilever(run):
    """All figures of the settled state; 1e-9, the arithmetic of a well-conditioned 12 by 12 system."""
    wire = Wire(reach=0.02)
    found, wanted = run(wire.file(PLAIN))["static"], sags(wire)
    assert found["method"] == "linear"
    assert found["sag_mm"] == pytest.approx(wanted["sag"] * 1e3, rel=1e-9)
    assert found["tip_displacement_mm"] == pytest.approx([0, -wanted["tip"] * 1e3, 0], rel=1e-9, abs=1e-9)
    assert found["prop_displacement_mm"] == pytest.approx([0, -wanted["sag"] * 1e3, 0], rel=1e-9, abs=1e-9)
    # Right-handed about "right": what lies toward the camera goes down.
    assert found["prop_rotation_deg"] == pytest.approx([np.degrees(wanted["turn"]), 0, 0], rel=1e-9, abs=1e-9)
    assert found["root_moment_N_m"] == pytest.approx(wanted["moment"], rel=1e-9)
    stress = wanted["moment"] / wire.modulus
    assert found["peak_stress_MPa"] == pytest.approx(stress / 1e6, rel=1e-9)
    assert found["yield_factor"] == pytest.approx(wire.yield_strength / stress, rel=1e-9)
    assert found["buckling_factor"] is None


def test_shear_is_added_and_can_be_left_out(run):
    """Cowper (1966) for a solid round, k = 6 (1 + nu)/(7 + 6 nu) (from memory); a stub, so that it counts."""
    wire = Wire(length=0.02, diameter=8e-3, mass=2.0)
    nu = wire.youngs_modulus / (2 * wire.shear_modulus) - 1
    stiffness = 6 * (1 + nu) / (7 + 6 * nu) * wire.shear_modulus * np.pi * wire.diameter**2 / 4
    with_shear, without = sags(wire, shear=stiffness)["sag"], sags(wire)["sag"]
    assert with_shear / without > 1.05
    soft = PLAIN.replace("shear = false", "shear = true")
    assert run(wire.file(soft))["static"]["sag_mm"] == pytest.approx(with_shear * 1e3, rel=1e-9)
    assert run(wire.file(PLAIN))["static"]["sag_mm"] == pytest.approx(without * 1e3, rel=1e-9)


@pytest.mark.parametrize("given", ['"12 N*m/rad"', '["12 N*m/rad", "rigid", "rigid"]'])
def test_soft_root_turns_under_its_moment(run, given):
    """One value, or the three about right, up, toward: a level wire from behind sags about "right"."""
    wire = Wire(reach=0.02, more_support=f"root_stiffness = {given}")
    found, wanted = run(wire.file(PLAIN))["static"], sags(wire, root_compliance=1 / 12)
    assert found["sag_mm"] == pytest.approx(wanted["sag"] * 1e3, rel=1e-9)
    assert found["prop_rotation_deg"][0] == pytest.approx(np.degrees(wanted["turn"]), rel=1e-9)


@pytest.mark.parametrize(
    ("section", "second_moment", "area", "half_height"),
    [
        (
            'diameter = "4 mm"\nwall = "0.5 mm"',
            np.pi / 64 * (4e-3**4 - 3e-3**4),
            np.pi / 4 * (4e-3**2 - 3e-3**2),
            2e-3,
        ),
        ('width = "10 mm"\nthickness = "2 mm"', 10e-3 * 2e-3**3 / 12, 20e-6, 1e-3),
    ],
    ids=["tube", "strip lies flat"],
)
def test_other_sections(run, section, second_moment, area, half_height):
    wire = Wire(mass=0.08)
    text = wire.file(PLAIN).replace('diameter = "3.0 mm"', section)
    assert section in text
    EI, P, L = wire.youngs_modulus * second_moment, wire.weight, wire.length
    q = wire.density * area * GRAVITY
    found = run(text)["static"]
    assert found["sag_mm"] == pytest.approx(1e3 * (P * L**3 / 3 + q * L**4 / 8) / EI, rel=1e-9)
    stress = (P * L + q * L**2 / 2) * half_height / second_moment
    assert found["peak_stress_MPa"] == pytest.approx(stress / 1e6, rel=1e-9)


def test_sleeve_to_half_length(run):
    """Sag by Mohr's integral of M m/EI over the stepped wire, by scipy's quadrature; weightless parts."""
    wire = Wire(density=WEIGHTLESS, mass=0.3)
    sleeve = '[[prop.support.sleeve]]\nmaterial = "own"\ndiameter = "5 mm"\nwall = "1 mm"\nend = "90 mm"'
    L, P = wire.length, wire.weight
    over = wire.youngs_modulus * np.pi / 64 * 5e-3**4  # bonded: the two together are one solid of 5 mm
    sag = sum(
        quad(lambda x, EI=EI: P * (L - x) ** 2 / EI, *span)[0]
        for EI, span in ((over, (0, L / 2)), (wire.bending, (L / 2, L)))
    )
    found = run(replace(wire, moves=sleeve).file(PLAIN))["static"]
    assert found["sag_mm"] == pytest.approx(sag * 1e3, rel=1e-7)
    # At the sleeve's end the bare wire has half the moment; at the root the whole section has all of it.
    bare, root = P * L / 2 / wire.modulus, P * L / (np.pi * 5e-3**3 / 32)
    assert found["peak_stress_MPa"] == pytest.approx(max(bare, root) / 1e6, rel=1e-6)


def droops(wire: Wire) -> tuple[float, float]:
    """Sag and turn of the weightless elastica with a hanging end load: EI theta'' = -P cos(theta).

    Bisshopp and Drucker, Large deflection of cantilever beams, Q. Appl. Math. 3 (1945) pose it (from memory);
    solved here as an initial value problem whose root curvature is found by bracketing the free end.
    """
    scale = wire.weight * wire.length**2 / wire.bending

    def shoot(curvature: float):
        return solve_ivp(
            lambda _, z: [z[1], -scale * np.cos(z[0]), np.sin(z[0])],
            (0, 1), [0.0, curvature, 0.0], rtol=1e-11, atol=1e-12,
        ).y[:, -1]  # fmt: skip

    root = brentq(lambda curvature: shoot(curvature)[1], 0.0, scale)
    turn, _, sag = shoot(root)
    return sag * wire.length, turn


def test_large_displacement(run):
    """The elastica to 0.1 %, the figure to reach; "auto" takes it where the linear sag passes a tenth."""
    wire = Wire(density=WEIGHTLESS, diameter=1.2e-3, length=0.2, mass=0.05, yield_strength=20e9)
    sag, turn = droops(wire)
    straight = sags(wire)["sag"]
    assert 0.25 * wire.length < sag < 0.95 * straight
    for analysis in ('displacement = "large"', 'displacement = "auto"'):
        found = run(wire.file(f"{analysis}\nshear = false"))["static"]
        assert found["method"] == "large displacement"
        assert found["sag_mm"] == pytest.approx(sag * 1e3, rel=1e-3)
        assert found["prop_rotation_deg"][0] == pytest.approx(np.degrees(turn), rel=1e-3)
    linear = run(wire.file(PLAIN))["static"]
    assert linear["method"] == "linear"
    assert linear["sag_mm"] == pytest.approx(straight * 1e3, rel=1e-7)


def test_small_sag_stays_linear_in_auto(run):
    assert run(Wire().file())["static"]["method"] == "linear"


# -- natural modes --------------------------------------------------------------------------------------


def test_wire_with_mass_and_a_weight_at_its_tip(run):
    """Blevins, Formulas for Natural Frequency and Mode Shape, cantilever with a tip mass (from memory):

    1 + cos(l) cosh(l) = (m/M) l (sin(l) cosh(l) - cos(l) sinh(l)), l^4 = rho A omega^2 L^4/EI.
    To 1e-6: first two pairs; the figure to reach is 1e-4.
    """
    wire = Wire(mass=0.02, length=0.15)
    ratio = wire.mass / (wire.per_length * wire.length)

    def equation(x: float) -> float:
        return 1 + np.cos(x) * np.cosh(x) - ratio * x * (np.sin(x) * np.cosh(x) - np.cos(x) * np.sinh(x))

    roots = [brentq(equation, low, high) for low, high in ((0.1, 1.88), (3.0, 4.7))]
    wanted = [x**2 / (2 * np.pi) * np.sqrt(wire.bending / (wire.per_length * wire.length**4)) for x in roots]
    modes = run(wire.file(PLAIN))["modes"]
    assert len(modes) >= 6
    frequencies = [mode["frequency_Hz"] for mode in modes]
    assert frequencies == sorted(frequencies)
    # A round wire sways up-down and left-right alike.
    assert frequencies[:4] == pytest.approx([wanted[0], wanted[0], wanted[1], wanted[1]], rel=1e-6)
    assert {mode["kind"] for mode in modes[:2]} == {"sway up-down", "sway left-right"}
    assert {mode["damping_ratio"] for mode in modes} == {wire.damping_ratio}


def test_prop_with_inertia_beyond_the_tip(run):
    """Two degrees of freedom at the tip of a weightless cantilever, K = EI/L^3 [[12, -6L], [-6L, 4L^2]].

    Derived here from the slope-deflection equations. Inertia about "right" rocks up-down, about "up"
    left-right.
    """
    inertia = (4e-5, 9e-5, 5e-5)
    wire = Wire(
        density=WEIGHTLESS,
        reach=0.03,
        more_prop="inertia = [" + ", ".join(f'"{value!r} kg*m^2"' for value in inertia) + "]",
    )
    L, a, m = wire.length, wire.reach, wire.mass
    stiffness = wire.bending / L**3 * np.array([[12, -6 * L], [-6 * L, 4 * L**2]])
    wanted = []
    for about in inertia[:2]:
        mass = np.array([[m, m * a], [m * a, m * a**2 + about]])
        wanted += list(np.sqrt(np.linalg.eigvals(np.linalg.solve(mass, stiffness)).real) / (2 * np.pi))
    twist = np.sqrt(wire.shear_modulus * np.pi * wire.diameter**4 / 32 / L / inertia[2]) / (2 * np.pi)
    axial = np.sqrt(wire.youngs_modulus * np.pi * wire.diameter**2 / 4 / L / m) / (
        2 * np.pi
    )  # the prop's own six modes; bending of a weightless wire itself lies far above
    modes = run(wire.file(PLAIN))["modes"]
    found = [mode["frequency_Hz"] for mode in modes[:6]]
    assert found == pytest.approx(sorted([*wanted, twist, axial]), rel=1e-6)
    assert modes[int(np.argmin(np.abs(np.array(found) - twist)))]["kind"] == "twist about the support"
    assert modes[int(np.argmin(np.abs(np.array(found) - axial)))]["kind"] == "bounce along the support"


def test_hanging_wire_stiffens(run):
    """Tension N = m g: F/w = N/(L - tanh(b L)/b), b^2 = N/EI, built in above and free to turn below.

    Beam with tension, Timoshenko and Gere, Theory of Elastic Stability, beam-columns (from memory, with the
    sign of N turned round). Without gravity's stiffness it is the plain 3 EI/L^3.
    """
    wire = Wire(density=WEIGHTLESS, diameter=0.6e-3, length=0.4, mass=0.05, side="above")
    N, L = wire.weight, wire.length
    b = np.sqrt(N / wire.bending)
    stiff = N / (L - np.tanh(b * L) / b)
    plain = 3 * wire.bending / L**3
    assert stiff / plain > 4
    for analysis, stiffness in (("shear = false", stiff), (PLAIN, plain)):
        found = run(wire.file(analysis))
        for mode in found["modes"][:2]:
            wanted = np.sqrt(stiffness / wire.mass) / (2 * np.pi)
            assert mode["frequency_Hz"] == pytest.approx(wanted, rel=1e-6)
        assert found["static"]["buckling_factor"] is None


def test_hanging_on_a_thread_is_a_pendulum(run):
    """sqrt(g/L)/2 pi, the simple pendulum of every physics text; EI shortens L by sqrt(EI/N) = 0.4 mm."""
    wire = Wire(density=WEIGHTLESS, diameter=0.08e-3, length=0.5, mass=0.2, side="above")
    short = np.sqrt(wire.bending / wire.weight)
    found = run(wire.file())["modes"]
    wanted = np.sqrt(GRAVITY / (wire.length - short)) / (2 * np.pi)
    assert short < 0.001
    assert [mode["frequency_Hz"] for mode in found[:2]] == pytest.approx([wanted] * 2, rel=1e-5)


# -- standing supports ----------------------------------------------------------------------------------


def test_standing_support_buckles_at_eulers_load(run):
    """pi^2 EI/4 L^2, fixed-free (Euler; Roark, table of columns, from memory), to the 0.1 % to reach."""
    wire = Wire(density=WEIGHTLESS, side="below", diameter=2e-3, length=0.3, mass=0.05)
    critical = np.pi**2 * wire.bending / (4 * wire.length**2)
    found = run(wire.file("shear = false"))
    assert found["static"]["buckling_factor"] == pytest.approx(critical / wire.weight, rel=1e-3)
    # It softens: with P the weight and b^2 = P/EI, F/w = P/(tan(b L)/b - L) (beam-column, as above).
    b = np.sqrt(wire.weight / wire.bending)
    stiffness = wire.weight / (np.tan(b * wire.length) / b - wire.length)
    wanted = np.sqrt(stiffness / wire.mass) / (2 * np.pi)
    assert found["modes"][0]["frequency_Hz"] == pytest.approx(wanted, rel=1e-5)


@pytest.mark.parametrize(("share", "status"), [(0.3, "pass"), (0.36, "fail"), (0.9, "fail")])
def test_buckling_needs_a_factor_of_three(run, share, status):
    wire = Wire(density=WEIGHTLESS, side="below", diameter=2e-3, length=0.3)
    critical = np.pi**2 * wire.bending / (4 * wire.length**2)
    found = run(replace(wire, mass=round(share * critical / GRAVITY, 6)).file())
    assert {finding["id"]: finding["status"] for finding in found["findings"]}["buckling"] == status


@pytest.mark.parametrize("displacement", ["auto", "linear", "large"])
def test_support_that_folds_fails_in_plain_words(run, displacement):
    wire = Wire(density=WEIGHTLESS, side="below", diameter=2e-3, length=0.3)
    critical = np.pi**2 * wire.bending / (4 * wire.length**2)
    moves = '[[prop.move]]\nslide = "50 mm"\nduration = "2 s"'
    folded = replace(wire, mass=round(1.4 * critical / GRAVITY, 6), moves=moves)
    found = run(folded.file(f'displacement = "{displacement}"'))
    assert found["verdict"] == "fail"
    assert found["static"] is None
    assert found["motion"] is None
    assert found["modes"] == []
    finding = next(one for one in found["findings"] if one["id"] == "buckling")
    assert finding["status"] == "fail"
    assert finding["says"].startswith("It folds under its load")
    assert finding["advice"]
    assert 0 < finding["value"] < 1
    assert not [one for one in found["findings"] if one["status"] == "pass"]


# -- moves ----------------------------------------------------------------------------------------------

STROKE = 0.15


@dataclass(frozen=True, kw_only=True)
class Move:
    """A slide of STROKE by its textbook acceleration.

    Norton, Cam Design and Manufacturing Handbook, double-dwell motions (from memory).
    """

    profile: str
    duration: float

    @property
    def pieces(self) -> list[tuple[float, float]]:
        """Spans of time between the jumps of a trapezoidal acceleration, a third of the time each."""
        edges = np.linspace(0, self.duration, 4)
        return list(pairwise(edges.tolist()))

    def acceleration(self, times: np.ndarray) -> np.ndarray:
        """At times of one piece."""
        u, scale = np.asarray(times) / self.duration, STROKE / self.duration**2
        if self.profile == "harmonic":
            return scale * np.pi**2 / 2 * np.cos(np.pi * u)
        if self.profile == "cycloidal":
            return scale * 2 * np.pi * np.sin(2 * np.pi * u)
        ramp = 1 / 3
        return np.full_like(u, scale / (ramp * (1 - ramp)) * np.sign(0.5 - np.mean(u).round(6)))

    @property
    def text(self) -> str:
        return (
            f'[[prop.move]]\nslide = "150 mm"\nduration = "{self.duration!r} s"\n'
            f'profile = "{self.profile}"\nalong = "up"'
        )


def deviation(move: Move, root: complex, time: float) -> float:
    """Deviation of a damped oscillator from its moved base after the move, by quadrature of Duhamel's integral.

    x(t) = -1/omega_d int a(s) exp(-zeta omega (t - s)) sin(omega_d (t - s)) ds (Harris' Shock and Vibration
    Handbook, from memory); `root` is -zeta omega + i omega_d.
    """
    total = 0.0
    for low, high in move.pieces:

        def integrand(s: float, middle: float = (low + high) / 2) -> float:
            at = middle if move.profile == "trapezoidal" else s
            return float(move.acceleration(np.array([at]))[0] * np.exp(root * (time - s)).imag)

        total += quad(integrand, low, high, epsabs=1e-13, epsrel=1e-12, limit=200)[0]
    return -total / root.imag


def largest(move: Move, root: complex) -> float:
    """Largest abs(x) during the move: the same integral with a running upper limit, by Simpson's rule."""
    whole, best = 0.0 + 0.0j, 0.0
    for low, high in move.pieces:
        times = np.linspace(low, high, 8001)
        drive = move.acceleration(times) * np.exp(-root * times)
        real, imaginary = cumulative_simpson([drive.real, drive.imag], x=times, initial=0)
        running = whole + real + 1j * imaginary
        best = max(best, np.abs((np.exp(root * times) * running).imag).max() / root.imag)
        whole = running[-1]
    return float(best)


def oscillator(wire: Wire) -> complex:
    """-zeta omega + i omega_d of a point on a weightless cantilever, omega^2 = 3 EI/(m L^3)."""
    omega = np.sqrt(3 * wire.bending / wire.length**3 / wire.mass)
    return complex(-wire.damping_ratio * omega, omega * np.sqrt(1 - wire.damping_ratio**2))


def left_over(run, profile: str, duration: float, damping_ratio: float) -> tuple[float, float]:
    """Residual wobble [mm] as found, and as it should be.

    A weightless wire and a point are one oscillator. After the move x = Re(swing exp(root t)); what is wanted is
    the largest distance of two places within two undamped periods.
    """
    move = Move(profile=profile, duration=duration)
    wire = Wire(density=WEIGHTLESS, damping_ratio=damping_ratio, moves=move.text)
    root = oscillator(wire)
    found = run(wire.file(PLAIN))
    assert found["modes"][0]["frequency_Hz"] == pytest.approx(abs(root) / (2 * np.pi), rel=1e-7)
    # Two places a quarter of a damped period apart give amplitude and phase of what rings on.
    quarter = np.pi / (2 * root.imag)
    now, later = deviation(move, root, duration), deviation(move, root, duration + quarter)
    swing = complex(now, -later * np.exp(-root.real * quarter))
    path = (swing * np.exp(root * np.linspace(0, 4 * np.pi / abs(root), 200_001))).real
    wanted = path.max() - path.min()  # 1e5 samples a period: short by 1e-9 at most
    assert wanted > 1e-4
    return found["motion"]["residual_wobble_mm"], wanted * 1e3


MOVES = [
    ("harmonic", 0.4, 0.02),
    ("trapezoidal", 0.4, 0.02),
    ("cycloidal", 0.4, 0.02),
    ("harmonic", 0.554, 0.003),
    ("trapezoidal", 0.276, 0.003),
    ("harmonic", 0.555, 0.003),
    ("trapezoidal", 0.555, 0.003),
]


@pytest.mark.parametrize("move", MOVES)
def test_wobble_after_a_slide_is_duhamels(run, move):
    """To 1e-6, the figure to reach."""
    found, wanted = left_over(run, *move)
    assert found == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize("profile", ["harmonic", "cycloidal", "trapezoidal"])
def test_deviation_on_the_way_is_duhamels(run, profile):
    """1e-4: a parabola through 40 samples a period is within 2 (pi/40)^4 = 8e-5 of a crest."""
    move = Move(profile=profile, duration=0.4)
    wire = Wire(density=WEIGHTLESS, damping_ratio=0.02, moves=move.text)
    wanted = largest(move, oscillator(wire)) * 1e3
    assert run(wire.file(PLAIN))["motion"]["peak_deviation_mm"] == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize("along", ["right", "[1, 1, 0]", "down"])
def test_direction_of_the_slide_does_not_matter_to_a_round_wire(run, along):
    word = along if along.startswith("[") else f'"{along}"'
    moves = '[[prop.move]]\nslide = "150 mm"\nduration = "0.4 s"\nalong = '
    wire = Wire(density=WEIGHTLESS)
    up = run(replace(wire, moves=f'{moves}"up"').file(PLAIN))["motion"]
    other = run(replace(wire, moves=f"{moves}{word}").file(PLAIN))["motion"]
    for key in ("peak_deviation_mm", "residual_wobble_mm", "settle_s"):
        assert other[key] == pytest.approx(up[key], rel=1e-6)


def test_settle_time(run):
    """The envelope A exp(-zeta omega t) falls to the limit, taken peak to peak (derived here).

    Without a camera a pixel counts as 0.1 mm. Within half a period, which is how finely a swing can be told
    to be still.
    """
    moves = '[[prop.move]]\nslide = "150 mm"\nduration = "0.4 s"'
    wire = Wire(density=WEIGHTLESS, damping_ratio=0.02, moves=moves)
    found = run(wire.file(PLAIN))
    omega, zeta = 2 * np.pi * found["modes"][0]["frequency_Hz"], wire.damping_ratio
    swing = found["motion"]["residual_wobble_mm"] * np.exp(zeta * np.pi / 2)  # two half-periods apart, about
    wanted = np.log(swing / 0.1) / (zeta * omega)
    assert found["motion"]["settle_s"] == pytest.approx(wanted, abs=np.pi / omega)


def test_peak_acceleration_alone_gives_the_worst_case(run):
    """4 A/omega^2 on the way and as amplitude after it, for an undamped oscillator.

    Derived here: speeding up and slowing down for half a period each leave 2 A/omega^2 each, in phase.
    """
    moves = '[[prop.move]]\nacceleration = "0.8 m/s^2"\nalong = "right"'
    wire = Wire(density=WEIGHTLESS, damping_ratio=0.0, moves=moves)
    omega = np.sqrt(3 * wire.bending / wire.length**3 / wire.mass)
    found = run(wire.file(PLAIN))
    wanted = 4 * 0.8 / omega**2 * 1e3
    assert found["motion"]["peak_deviation_mm"] == pytest.approx(wanted, rel=1e-6)
    assert found["motion"]["residual_wobble_mm"] == pytest.approx(2 * wanted, rel=1e-6)
    assert found["motion"]["settle_s"] is None  # undamped: never


def test_strength_counts_the_swing(run):
    """The root's moment swings with the prop: m omega^2 times its deviation, on top of its weight.

    Settled and moving add as magnitudes, a bound that this upright move reaches: both bend the same way.
    """
    moves = '[[prop.move]]\nslide = "150 mm"\nduration = "0.4 s"\nprofile = "cycloidal"'
    wire = Wire(density=WEIGHTLESS, moves=moves)
    found = run(wire.file(PLAIN))
    omega = np.sqrt(3 * wire.bending / wire.length**3 / wire.mass)
    swing = wire.mass * omega**2 * found["motion"]["peak_deviation_mm"] * 1e-3 * wire.length
    wanted = wire.yield_strength * wire.modulus / (wire.weight * wire.length + swing)
    finding = next(one for one in found["findings"] if one["id"] == "yield-factor")
    assert finding["value"] == pytest.approx(wanted, rel=1e-3)
    assert finding["value"] < 0.9 * found["static"]["yield_factor"]


# -- camera ---------------------------------------------------------------------------------------------

SLIDE = '[[prop.move]]\nslide = "150 mm"\nduration = "0.4 s"\nalong = "{}"'


def test_pixels_by_field_width_and_by_lens(run):
    """Field = sensor x distance / focal length, the prop far from the lens: 36 x 1100 / 50 = 792 mm."""
    wire = Wire(density=WEIGHTLESS, moves=SLIDE.format("up"))
    by_field = '[camera]\nfield_width = "792 mm"\nimage_width = 3840'
    by_lens = (
        '[camera]\ndistance = "1.1 m"\nfocal_length = "50 mm"\nsensor_width = "36 mm"\nimage_width = 3840'
    )
    for head in (by_field, by_lens):
        found = run(replace(wire, head=head).file(PLAIN))["motion"]
        assert found["residual_wobble_px"] == pytest.approx(
            found["residual_wobble_mm"] * 3840 / 792, rel=1e-9
        )
        assert found["seen_frequency_Hz"] is None  # no frame rate
    assert run(wire.file(PLAIN))["motion"]["residual_wobble_px"] is None


@pytest.mark.parametrize(("elevation", "share"), [(0, 1.0), (60, 0.5), (90, 0.0)])
def test_camera_that_looks_down_sees_less_of_up_and_down(run, elevation, share):
    head = f'[camera]\nfield_width = "384 mm"\nimage_width = 3840\nelevation = "{elevation} deg"'
    found = run(Wire(density=WEIGHTLESS, moves=SLIDE.format("up"), head=head).file(PLAIN))["motion"]
    assert found["residual_wobble_px"] == pytest.approx(
        10 * share * found["residual_wobble_mm"], rel=1e-9, abs=1e-9
    )


@pytest.mark.parametrize(
    ("frame_rate", "playback"),
    [("50 fps", "25 fps"), ("12 fps", None), ("7 fps", "7 fps"), ("10 Hz", "30 Hz")],
)
def test_seen_frequency(run, frame_rate, playback):
    """The sampled sine's own spectrum says it: the peak of a long record taken at the frame rate.

    A frequency and its mirror image about half the frame rate have the same samples (sampling theorem).
    """
    head = f'[camera]\nfield_width = "420 mm"\nimage_width = 3840\nframe_rate = "{frame_rate}"'
    head += "" if playback is None else f'\nplayback_rate = "{playback}"'
    wire = Wire(density=WEIGHTLESS, moves=SLIDE.format("up"), head=head)
    found = run(wire.file(PLAIN))
    true, rate = found["modes"][0]["frequency_Hz"], float(frame_rate.split()[0])
    shown = rate if playback is None else float(playback.split()[0])
    count = 1 << 16
    spectrum = np.abs(np.fft.rfft(np.sin(2 * np.pi * true * np.arange(count) / rate) * np.hanning(count)))
    seen = spectrum.argmax() / count * rate * shown / rate
    assert found["motion"]["seen_frequency_Hz"] == pytest.approx(seen, abs=shown / count)


# -- the same rig in other words ------------------------------------------------------------------------


def numbers(value: Any, at: str = "") -> dict[str, float]:
    """Every number of a JSON value by its place."""
    if isinstance(value, dict):
        return {
            key: number
            for name, part in value.items()
            for key, number in numbers(part, f"{at}/{name}").items()
        }
    if isinstance(value, list):
        return {
            key: number
            for place, part in enumerate(value)
            for key, number in numbers(part, f"{at}/{place}").items()
        }
    return {at: float(value)} if isinstance(value, int | float) and not isinstance(value, bool) else {}


IN_MM = """
[camera]
field_width = "406.4 mm"
image_width = 3840
frame_rate = "50 fps"
[[prop]]
name = "inkwell"
mass = "226.796185 g"
centre_of_mass = ["0 mm", "0 mm", "12.7 mm"]
shape = "box"
size = ["50.8 mm", "38.1 mm", "63.5 mm"]
[[prop.support]]
material = "music-wire"
diameter = "3.175 mm"
length = "177.8 mm"
[[prop.move]]
slide = "203.2 mm"
duration = "900 ms"
profile = "cycloidal"
"""
IN_INCHES = """
[camera]
field_width = "16 in"
image_width = 3840
frame_rate = "50 fps"
[[prop]]
name = "inkwell"
mass = "8 oz"
centre_of_mass = ["0 in", "0 in", "0.5 in"]
shape = "box"
size = ["2 in", "1.5 in", "2.5 in"]
[[prop.support]]
material = "music-wire"
diameter = "1/8 in"
length = "7 in"
[[prop.move]]
slide = "8 in"
duration = "0.9 s"
profile = "cycloidal"
"""


def test_mm_and_inches_agree(run):
    """The inch is 25.4 mm exactly; the ounce of 28.349523125 g is that of the international pound, exact."""
    mm, inches = numbers(run(IN_MM)), numbers(run(IN_INCHES))
    assert mm.keys() == inches.keys()
    assert len(mm) > 40
    for key, value in mm.items():
        # 12 digits are printed, so that 1e-12 of the size may show as one in the last of them;
        # parts that are zero by symmetry hold rounding noise
        assert inches[key] == pytest.approx(value, rel=1.01e-11, abs=1e-9), key


def turned(vector: list[float], side: str) -> np.ndarray:
    """A vector of the rig from behind, when the whole rig is turned about "up" to put its root there."""
    angle = {"behind": 0.0, "right": 90.0, "front": 180.0, "left": 270.0}[side]
    cos, sin = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    # clockwise from above: away (behind) goes to right, toward, left
    return np.array([[cos, 0, -sin], [0, 1, 0], [sin, 0, cos]]) @ np.array(vector)


@pytest.mark.parametrize("side", ["right", "front", "left"])
def test_turned_rigs_agree(run, side):
    inertia = {"behind": (4e-5, 9e-5, 5e-5), "front": (4e-5, 9e-5, 5e-5)}.get(side, (5e-5, 9e-5, 4e-5))
    along = {"right": "toward", "left": "toward", "front": "right"}[side]

    def rig(where: str, moments: tuple[float, ...], way: str) -> dict[str, Any]:
        wire = Wire(
            side=where,
            reach=0.02,
            moves=f'[[prop.move]]\nslide = "150 mm"\nduration = "0.4 s"\nalong = "{way}"',
            more_prop="inertia = [" + ", ".join(f'"{value!r} kg*m^2"' for value in moments) + "]",
        )
        return run(wire.file())

    one, other = rig("behind", (4e-5, 9e-5, 5e-5), "right"), rig(side, inertia, along)
    for key in ("tip_displacement_mm", "prop_displacement_mm", "prop_rotation_deg"):
        assert other["static"][key] == pytest.approx(turned(one["static"][key], side), rel=1e-9, abs=1e-9)
    for key in ("sag_mm", "root_moment_N_m", "peak_stress_MPa", "yield_factor"):
        assert other["static"][key] == pytest.approx(one["static"][key], rel=1e-9)
    for mode, same in zip(one["modes"], other["modes"], strict=True):
        assert same["frequency_Hz"] == pytest.approx(mode["frequency_Hz"], rel=1e-9)
        # a mode has no sign of its own
        assert np.abs(turned(mode["direction"], side) @ same["direction"]) == pytest.approx(
            np.linalg.norm(mode["direction"]), abs=1e-6
        )
    for key in ("peak_deviation_mm", "residual_wobble_mm"):
        assert other["motion"][key] == pytest.approx(one["motion"][key], rel=1e-9)


def test_two_supports_mirrored(run):
    """Two unlike wires left and right: mirrored, everything sideways changes sign and nothing else."""

    def pair(first: str, second: str) -> dict[str, Any]:
        wire = Wire(more_prop='shape = "box"\nsize = ["60 mm", "40 mm", "30 mm"]')
        more = f"""
[[prop.support]]
material = "own"
diameter = "2 mm"
length = "140 mm"
from = "{second}"
offset = ["{"-" if second == "left" else ""}30 mm", "5 mm", "0 mm"]
root_stiffness = "rigid"
"""
        return run(replace(wire, side=first, moves=more).file())

    one, other = pair("right", "left"), pair("left", "right")
    mirror = np.array([-1, 1, 1])
    found, same = one["static"], other["static"]
    for key in ("tip_displacement_mm", "prop_displacement_mm"):
        assert same[key] == pytest.approx(mirror * found[key], rel=1e-9, abs=1e-12)
    # a rotation is an axial vector: mirrored it keeps the part along the mirror's normal
    assert same["prop_rotation_deg"] == pytest.approx(
        -mirror * found["prop_rotation_deg"], rel=1e-9, abs=1e-12
    )
    frequencies = [[mode["frequency_Hz"] for mode in result["modes"]] for result in (one, other)]
    assert frequencies[1] == pytest.approx(frequencies[0], rel=1e-9)


def test_head_that_gives_turns_under_the_root_moment(run):
    """A rigid clamp on a head of 200 N m/rad: one more turn M/k of the whole cantilever (derived here)."""
    wire = Wire(reach=0.02, more_prop='axis = { stiffness = "200 N*m/rad" }')
    found, wanted = run(wire.file(PLAIN))["static"], sags(wire, root_compliance=1 / 200)
    assert found["sag_mm"] == pytest.approx(wanted["sag"] * 1e3, rel=1e-9)
    both = Wire(reach=0.02, more_prop=wire.more_prop, more_support='root_stiffness = "12 N*m/rad"')
    wanted = sags(both, root_compliance=1 / 200 + 1 / 12)
    assert run(both.file(PLAIN))["static"]["sag_mm"] == pytest.approx(wanted["sag"] * 1e3, rel=1e-9)
