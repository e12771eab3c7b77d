"""Retimed and shaped moves, rig file to keyframe file, against published widths, closed forms and a plain simulation.

N. C. Singer and W. P. Seering, "Preshaping command inputs to reduce system vibration", ASME Journal of Dynamic
Systems, Measurement, and Control 112 (1990), 76-82, for the shapers (from memory). The widths of 0.06 and 0.29 at 5 %
are printed in the shaping literature that followed (W. Singhose, W. Seering and N. Singer, from memory: two digits);
the closed forms beside them are derived here from abs(cos(pi r/2)) and its square, r being the true over the design
frequency.
"""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline

from rigcheck.cli import commands
from rigcheck.files import read_rig
from rigcheck.studies.retime.keys_export import export_keys
from rigcheck.studies.retime.study import retime

pytestmark = pytest.mark.evidence(
    what="Retimed and shaped moves, rig file to keyframes",
    source="Singer and Seering (1990), Singhose (from memory); closed forms; plain simulation",
    serves="retime",
)

MASS, LENGTH, DIAMETER = 0.2, 0.15, 3e-3
PIXELS = 3840 / 0.42
STROKE = 0.22


def rig_text(moves: str, *, modulus: float, damping: float) -> str:
    """A weightless Euler-Bernoulli cantilever with a point mass: one pair of modes, sqrt(3 E I/(m L^3))."""
    return f"""
[camera]
field_width = "420 mm"
image_width = 3840
[analysis]
gravity_stiffness = false
shear = false
[[material]]
name = "own"
density = "1e-3 kg/m^3"
youngs_modulus = "{float(modulus) / 1e9!r} GPa"
shear_modulus = "77 GPa"
yield_strength = "2000 MPa"
damping_ratio = {damping!r}
[[prop]]
name = "inkwell"
mass = "200 g"
[[prop.support]]
material = "own"
diameter = "3 mm"
length = "150 mm"
root_stiffness = "rigid"
{moves}
"""


def frequency(modulus: float) -> float:
    """Roark's Formulas for Stress and Strain, cantilever with end load: stiffness 3 E I/L^3 (from memory) [Hz]."""
    return np.sqrt(3 * modulus * np.pi * DIAMETER**4 / 64 / (MASS * LENGTH**3)) / (2 * np.pi)


def slide(duration: float, profile: str) -> str:
    return f'[[prop.move]]\nslide = "220 mm"\nduration = "{float(duration)!r} s"\nprofile = "{profile}"\n'


KEYS = '[[prop.move]]\nslide = "mm"\nkeys = "keys.csv"\n'
MODULUS = 200e9


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def checked(folder: Path, moves: str, *, modulus: float = MODULUS, damping: float = 0.0) -> dict:
    """The motion that ``rigcheck check FILE --json`` prints."""
    file = folder / "rig.toml"
    file.write_text(rig_text(moves, modulus=modulus, damping=damping), encoding="utf-8")
    result = CliRunner().invoke(commands, ["check", str(file), "--json"])
    assert result.exit_code in (0, 1), result.output
    return json.loads(result.stdout)["props"][0]["motion"]


def retimed(folder: Path, moves: str, *, damping: float = 0.0, profile: str | None = None):
    file = folder / "plan.toml"
    file.write_text(rig_text(moves, modulus=MODULUS, damping=damping), encoding="utf-8")
    shot = read_rig(file)
    return shot, retime(shot, profile=profile).props[0]


@pytest.mark.parametrize("damping", [0.0, 0.003, 0.02])
def test_shaped_keys_leave_under_5_percent_at_the_design_frequency(folder, damping):
    """By the file: planned, shaped, exported, named in the rig file, checked. Under 0.5 % in fact, with 1000 keys a
    second: what is left is the spline's rounding of the corners of the trapezoid.
    """
    moves = slide(0.55, "trapezoidal")
    shot, prop = retimed(folder, moves, damping=damping)
    unshaped = checked(folder, moves, damping=damping)["residual_wobble_px"]
    assert unshaped > 10 * prop.limit
    assert prop.plan.wobble == pytest.approx(unshaped, rel=1e-9)
    for shaped in prop.shaped:
        assert shaped.residual_share < 1e-9
    exported = export_keys(shot, prop, folder / "keys.csv", rate="1 kHz")
    left = checked(folder, KEYS, damping=damping)["residual_wobble_px"]
    assert left == pytest.approx(exported.wobble, rel=1e-9)
    assert left < 0.005 * unshaped


@pytest.mark.parametrize(
    ("index", "printed", "exact"),
    [(0, 0.06, 4 / np.pi * np.arcsin(0.05)), (1, 0.29, 4 / np.pi * np.arcsin(np.sqrt(0.05)))],
    ids=["two-impulse", "three-impulse"],
)
def test_published_insensitivity_widths(folder, index, printed, exact):
    _, prop = retimed(folder, slide(1.3, "trapezoidal"))
    (found, width), = prop.shaped[index].widths  # fmt: skip
    assert found == pytest.approx(frequency(MODULUS), rel=1e-6)
    assert width == pytest.approx(printed, abs=0.005)
    assert width == pytest.approx(exact, rel=1e-9)
    # Both shapers: half a period of the mode, and a whole one.
    assert prop.shaped[index].added_s == pytest.approx((index + 1) * 0.5 / frequency(MODULUS), rel=1e-6)


@pytest.mark.parametrize(("index", "exact"), [(0, np.arcsin(0.05)), (1, np.arcsin(np.sqrt(0.05)))])
def test_at_the_ends_of_the_width_5_percent_are_left_by_the_full_check(folder, index, exact):
    """The same keys on rigs of another stiffness, over the unshaped move on the same rigs: 5 %.

    Keys of the polynomial-4567 profile, which has no corners for the spline to round: 0.1 %.
    """
    moves = slide(0.4, "polynomial-4567")
    shot, prop = retimed(folder, moves)
    only = replace(prop, shaped=(prop.shaped[index],))
    export_keys(shot, only, folder / "keys.csv", rate="4 kHz")
    for side in (-1, 1):
        off = MODULUS * (1 + side * 2 / np.pi * exact) ** 2
        shaped = checked(folder, KEYS, modulus=off)["residual_wobble_px"]
        assert shaped / checked(folder, moves, modulus=off)["residual_wobble_px"] == pytest.approx(
            0.05, rel=1e-3
        )


def test_exported_keys_in_a_plain_simulation(folder):
    """The written file, splined by scipy and put under a mass on a spring that scipy integrates.

    m u'' = -k u - m y'' with u relative to the root; peak to peak of an undamped sine is twice its amplitude, and in
    pixels 3840/0.42 a metre. 50 keys a second, so that there is something left to compare. The integration is good
    to 1e-8, the full computation samples the wobble to 4e-5.
    """
    shot, prop = retimed(folder, slide(1.3, "trapezoidal"))
    exported = export_keys(shot, prop, folder / "keys.csv", rate="50 fps")
    rows = list(csv.DictReader((folder / "keys.csv").read_text(encoding="utf-8").splitlines()))
    times = np.array([float(row["time_s"]) for row in rows])
    course = CubicSpline(times, [float(row["value"]) / 1e3 for row in rows], bc_type=((1, 0.0), (1, 0.0)))
    omega = 2 * np.pi * frequency(MODULUS)
    acceleration = course.derivative(2)
    state = np.zeros(2)
    for start, stop in pairwise(times):
        state = solve_ivp(
            lambda t, u: [u[1], -(omega**2) * u[0] - acceleration(t)],
            (start, stop), state, method="DOP853", rtol=1e-10, atol=1e-13,
        ).y[:, -1]  # fmt: skip
    amplitude = np.hypot(state[0], state[1] / omega)
    assert exported.wobble == pytest.approx(2 * amplitude * PIXELS, rel=1e-4)
    assert 1e-3 < exported.wobble < prop.plan.wobble


def test_times_of_the_trapezoid_lie_where_its_closed_form_puts_them(folder):
    """Undamped: A = 4 S abs(sin(w r T/2) sin(w (1 - r) T/2))/(r (1 - r) (w T)^2) (derived here: two pulses of length
    r T, (1 - r) T apart); the wobble is twice that. Times are rounded up to a millisecond.
    """
    _, prop = retimed(folder, slide(1.3, "trapezoidal"))
    w, r = 2 * np.pi * frequency(MODULUS), 1 / 3
    times = np.arange(0.01, 8.0, 1e-5)
    x = w * times
    wobble = 8 * STROKE * PIXELS * np.abs(np.sin(x * r / 2) * np.sin(x * (1 - r) / 2)) / (r * (1 - r) * x**2)
    row = next(row for row in prop.profiles if row.planned)
    first = times[np.argmax(wobble <= prop.limit)]
    always = times[np.flatnonzero(wobble > prop.limit)[-1] + 1]
    # A null may be narrower than a millisecond; then the time is not rounded up.
    assert row.first.duration_s == pytest.approx(first, abs=1.2e-3)
    assert row.always.duration_s == pytest.approx(always, abs=1.2e-3)
    assert row.always.duration_s >= always - 1e-5
    assert row.sure.duration_s == pytest.approx(always / 0.9, abs=1.5e-3)
    # Nulls: ramp or ramp and cruise last whole periods, r T f = k or (1 - r) T f = k; in whole milliseconds.
    k = np.arange(1, 200)
    nulls = np.unique(np.concatenate([k / r, k / (1 - r)])) / frequency(MODULUS)
    assert len(prop.nulls) == 6
    for null in prop.nulls:
        assert np.abs(nulls - null.duration_s).min() < 0.6e-3


def test_the_harmonic_profile_has_its_nulls_at_whole_and_a_half_periods(folder):
    """Residual abs(cos(pi n))/(4 n^2 - 1), n = T f: zero at n = k + 1/2 (derived here), and 10 % beside it."""
    _, prop = retimed(folder, slide(1.3, "harmonic"))
    assert len(prop.nulls) == 6
    for null in prop.nulls:
        n = null.duration_s * frequency(MODULUS)
        assert abs(n % 1 - 0.5) < 0.6e-3 * frequency(MODULUS)
        for share, said in ((0.9, null.low), (1.1, null.high)):
            expected = 2 * STROKE * PIXELS * abs(np.cos(np.pi * share * n)) / abs(4 * (share * n) ** 2 - 1)
            assert said == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("profile", ["cycloidal", "modified-sine"])
def test_the_claims_agree_with_check_on_the_changed_file(folder, profile):
    _, prop = retimed(folder, slide(0.7, "trapezoidal"), damping=0.003)
    row = next(row for row in prop.profiles if row.profile == profile)
    for timing in (row.first, row.always, row.sure):
        found = checked(folder, slide(timing.duration_s, profile), damping=0.003)
        assert found["residual_wobble_px"] == pytest.approx(timing.wobble, rel=1e-9)
        assert found["settle_s"] == pytest.approx(timing.settle_s, rel=1e-9, abs=1e-12)
        assert found["residual_wobble_px"] <= prop.limit
