"""The seven profiles: end conditions, continuity, peak factors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from rigcheck.errors import ArgumentError, UnknownNameError
from rigcheck.motion.profiles import PROFILE_NAMES, RAMPED_PROFILES, profile

# R. L. Norton, Cam Design and Manufacturing Handbook, table of peak factors (from memory; the digits given
# there). The modified sine, simple harmonic and cycloidal factors follow from 4 pi^2/(4 + pi), pi^2/2 and 2
# pi as well.
PUBLISHED_PEAKS = {
    "trapezoidal": (1.5, 4.5),  # derived here: v = 1/(1 - r), a = 1/(r (1 - r)), r = 1/3
    "s-curve": (1.5, 9.0),  # derived here: as above, with the triangle twice as high as its mean
    "harmonic": (1.571, 4.935),
    "cycloidal": (2.0, 6.283),
    "modified-sine": (1.760, 5.528),
    "polynomial-345": (1.875, 5.773),
    "polynomial-4567": (2.188, 7.513),
}
RAMPS = [1e-3, 0.1, 1 / 3, 0.5]
CASES = [(name, ramp) for name in PROFILE_NAMES for ramp in (RAMPS if name in RAMPED_PROFILES else [1 / 3])]


@pytest.mark.parametrize("name", PROFILE_NAMES)
def test_peak_factors_are_the_published_ones(name):
    shape = profile(name)
    velocity, acceleration = PUBLISHED_PEAKS[name]
    # half a unit of the last printed digit
    assert shape.peak_velocity == pytest.approx(velocity, abs=6e-4)
    assert shape.peak_acceleration == pytest.approx(acceleration, abs=6e-4)


@pytest.mark.parametrize(("name", "ramp"), CASES)
def test_goes_from_rest_at_zero_to_rest_at_one(name, ramp):
    shape = profile(name, ramp=ramp)
    ends = np.array([-1.0, 0.0, 1.0, 2.0])
    assert shape.displacement(ends).tolist() == [0.0, 0.0, 1.0, 1.0]
    assert shape.velocity(ends) == pytest.approx(0.0, abs=1e-12)
    last = shape.pieces[-1]
    assert float(last.derivative(0, last.length)) == pytest.approx(1.0, abs=1e-12)
    assert float(last.derivative(1, last.length)) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("name", "ramp"), CASES)
def test_velocity_and_displacement_integrate_the_acceleration(name, ramp):
    shape = profile(name, ramp=ramp)
    cuts = [cut for cut in shape.boundaries if 0 < cut < 0.7]
    speed, _ = integrate.quad(shape.acceleration, 0.0, 0.7, points=cuts, limit=200, epsabs=1e-11)
    place, _ = integrate.quad(shape.velocity, 0.0, 0.7, points=cuts, limit=200, epsabs=1e-11)
    assert float(shape.velocity(0.7)) == pytest.approx(speed, abs=1e-9)
    assert float(shape.displacement(0.7)) == pytest.approx(place, abs=1e-9)


@pytest.mark.parametrize(("name", "ramp"), CASES)
def test_is_symmetric_about_its_middle(name, ramp):
    shape = profile(name, ramp=ramp)
    u = np.linspace(0.0, 1.0, 101)
    assert shape.displacement(u) + shape.displacement(1.0 - u) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    "name", ["s-curve", "cycloidal", "modified-sine", "polynomial-345", "polynomial-4567"]
)
def test_acceleration_has_no_jumps_where_the_profile_promises_none(name):
    shape = profile(name)
    u = np.linspace(0.0, 1.0, 200_001)
    a = shape.acceleration(u)
    assert a[0] == pytest.approx(0.0, abs=1e-12)
    assert a[-1] == pytest.approx(0.0, abs=1e-10)
    # the steepest of them changes by at most 69.5 a unit of time (modified sine at its ends)
    assert np.abs(np.diff(a)).max() < 70.0 * 5e-6


@pytest.mark.parametrize(
    ("name", "formula"),
    [
        ("harmonic", lambda u: (1 - np.cos(np.pi * u)) / 2),
        ("cycloidal", lambda u: u - np.sin(2 * np.pi * u) / (2 * np.pi)),
        ("polynomial-345", lambda u: 10 * u**3 - 15 * u**4 + 6 * u**5),
        ("polynomial-4567", lambda u: 35 * u**4 - 84 * u**5 + 70 * u**6 - 20 * u**7),
    ],
)
def test_displacement_is_the_textbook_formula(name, formula):
    u = np.linspace(0.0, 1.0, 57)
    assert profile(name).displacement(u) == pytest.approx(formula(u), abs=1e-13)


@given(ramp=st.floats(1e-6, 0.5), share=st.floats(0.0, 1.0))
def test_trapezoid_stays_between_its_ends_and_rises(ramp, share):
    shape = profile("trapezoidal", ramp=ramp)
    here, later = shape.displacement(np.array([share, min(1.0, share + 0.01)]))
    assert -1e-12 <= here <= later + 1e-12 <= 1.0 + 2e-12


def test_full_ramp_has_no_cruise():
    assert len(profile("trapezoidal", ramp=0.5).pieces) == 2
    assert profile("trapezoidal", ramp=0.5).peak_velocity == pytest.approx(2.0)


def test_ramp_is_kept_only_where_it_means_something():
    assert profile("trapezoidal", ramp=0.2).ramp == 0.2
    assert profile("cycloidal", ramp=0.2).ramp is None


def test_unknown_name_lists_the_known_ones():
    with pytest.raises(UnknownNameError) as caught:
        profile("sinusoid")
    assert str(caught.value) == (
        'profile: "sinusoid" is not known; choose one of trapezoidal, s-curve, harmonic, cycloidal, '
        "modified-sine, polynomial-345, polynomial-4567."
    )


@pytest.mark.parametrize("ramp", [0.0, -0.1, 0.51, float("nan")])
def test_ramp_outside_its_range_is_refused(ramp):
    with pytest.raises(ArgumentError, match=r"above 0 and at most 0\.5"):
        profile("trapezoidal", ramp=ramp)
