"""Base-excited oscillators against general-purpose solvers and the classical steady-state formulas."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from rigcheck.motion.profiles import PROFILE_NAMES, profile
from rigcheck.motion.response import unit_response
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.motion.shock import rectangular_pulse_spectrum

pytestmark = pytest.mark.evidence(
    what="Response of an oscillator to a moving base, all profiles and keyframes",
    source=(
        "scipy's `lsim`; steady state and half-sine pulse as in S. S. Rao, Mechanical Vibrations, and "
        "Harris' Shock and Vibration Handbook (from memory)"
    ),
    serves="check, retime",
)


def _lsim(omega, zeta, load, times):
    """Exact for a load that is straight between samples: scipy's own matrix exponential."""
    system = ([[0, 1], [-(omega**2), -2 * zeta * omega]], [[0], [1]], np.eye(2), np.zeros((2, 1)))
    _, out, _ = signal.lsim(system, load, times)
    return out[:, 0], out[:, 1]


@pytest.mark.parametrize(("omega", "zeta"), [(2.0, 0.0), (60.0, 0.003), (700.0, 0.05), (5e4, 0.2)])
def test_piecewise_linear_load_against_scipy_lsim(omega, zeta):
    times = np.arange(3001) * 1e-3
    load = np.random.default_rng(4).normal(size=times.size)
    expected, expected_rate = _lsim(omega, zeta, load, times)
    found, rate = piecewise_linear_response(load, angular_frequency=omega, damping_ratio=zeta, time_step=1e-3)
    # both are exact; 3000 steps of rounding, and the matrix exponential's own error at omega h = 50
    assert found[0] == pytest.approx(expected, abs=1e-9 * np.abs(expected).max())
    assert rate[0] == pytest.approx(expected_rate, abs=1e-9 * np.abs(expected_rate).max())


@pytest.mark.parametrize("name", PROFILE_NAMES)
def test_exact_profile_response_against_scipy_lsim(name):
    # Samples fall on the profile's corners (thirds, eighths): 1200 steps. The straight line between samples
    # misses a curved load by (rate h)^2/12 or so: 4e-6 at the modified sine's 4 pi, of its own size.
    omega, zeta, duration = 2 * np.pi * 3.1, 0.01, 2.4
    u = np.arange(1201) / 1200
    shape = profile(name)
    acceleration = np.array(shape.acceleration(u))
    expected = np.zeros(u.size)
    state = np.zeros(2)
    system = ([[0, 1], [-(omega**2), -2 * zeta * omega]], [[0], [1]], np.eye(2), np.zeros((2, 1)))
    for piece in shape.pieces:  # piece by piece, so that jumps are jumps
        low, high = round(piece.start * 1200), round((piece.start + piece.length) * 1200)
        load = -piece.derivative(2, u[low : high + 1] - piece.start) / duration**2
        _, out, _ = signal.lsim(system, load, u[low : high + 1] * duration - u[low] * duration, X0=state)
        expected[low : high + 1] = out[:, 0]
        state = out[-1]
    found, _ = unit_response(
        shape, duration=duration, angular_frequency=omega, damping_ratio=zeta, times=u * duration
    )
    assert np.abs(acceleration).max() > 1.0
    assert found[0] == pytest.approx(expected, abs=2e-5 * np.abs(expected).max())


@pytest.mark.parametrize("ratio", [0.3, 0.9, 1.0, 1.4, 3.0])
def test_steady_shaking_reaches_the_textbook_transmissibility(ratio):
    """Relative displacement over base displacement is r^2/sqrt((1 - r^2)^2 + (2 zeta r)^2).

    S. S. Rao, Mechanical Vibrations, chapter on harmonic excitation, and any other text (from memory).
    """
    omega, zeta, base = 20.0, 0.05, 0.001
    drive = ratio * omega
    times = np.arange(60_001) * 5e-4  # 30 s: exp(-zeta omega t) is 1e-13 at the end
    load = base * drive**2 * np.sin(drive * times)
    found, _ = piecewise_linear_response(load, angular_frequency=omega, damping_ratio=zeta, time_step=5e-4)
    last = slice(-8000, None)
    columns = np.stack([np.sin(drive * times[last]), np.cos(drive * times[last])], axis=1)
    weights, *_ = np.linalg.lstsq(columns, found[0, last], rcond=None)
    expected = base * ratio**2 / np.hypot(1 - ratio**2, 2 * zeta * ratio)
    # a straight line through samples of a sine is short by (drive h)^2/12 = 8e-5 at most
    assert np.hypot(*weights) == pytest.approx(expected, rel=1.2e-4)


def test_shock_spectrum_of_a_rectangular_pulse_is_the_handbook_one():
    """Undamped: 2 abs(sin(pi f tau)) after the pulse; 2, the largest of all, during it from f tau = 1/2.

    Harris' Shock and Vibration Handbook, chapter on response to step and pulse functions (from memory).
    """
    n = np.array([0.05, 0.25, 0.5, 0.8, 1.0, 2.3])
    spectrum = rectangular_pulse_spectrum(angular_frequency=2 * np.pi, damping_ratio=0.0, pulse_duration=n)
    assert spectrum.after == pytest.approx(2 * np.abs(np.sin(np.pi * n)), abs=1e-12)
    assert spectrum.during == pytest.approx(np.where(n >= 0.5, 2.0, 1 - np.cos(2 * np.pi * n)), abs=1e-12)
    # damped: the first overshoot of a step is 1 + exp(-pi zeta/sqrt(1 - zeta^2)), the overshoot formula of
    # every control text
    damped = rectangular_pulse_spectrum(angular_frequency=1.0, damping_ratio=0.2, pulse_duration=50.0)
    assert damped.during[0] == pytest.approx(1 + np.exp(-np.pi * 0.2 / np.sqrt(0.96)), rel=1e-12)


def test_pulse_spectrum_against_a_simulated_pulse():
    omega, zeta, pulse = 12.0, 0.07, 0.31
    times = np.linspace(0.0, 3.0, 30_001)
    inside = times <= pulse
    step = 1 - np.exp(-zeta * omega * times) * (
        np.cos(omega * np.sqrt(1 - zeta**2) * times)
        + zeta / np.sqrt(1 - zeta**2) * np.sin(omega * np.sqrt(1 - zeta**2) * times)
    )
    late = np.interp(times - pulse, times, step, left=0.0)
    q = step - late
    found = rectangular_pulse_spectrum(angular_frequency=omega, damping_ratio=zeta, pulse_duration=pulse)
    assert found.during[0] == pytest.approx(np.abs(q[inside]).max(), rel=1e-5)  # samples near a flat top
    assert found.after[0] == pytest.approx(np.abs(q[times >= pulse - 1e-9]).max(), rel=1e-5)
