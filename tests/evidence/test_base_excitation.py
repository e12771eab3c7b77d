"""Base-excited oscillators against general-purpose solvers and the classical steady-state formulas."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from rigcheck.motion.profiles import PROFILE_NAMES, profile
from rigcheck.motion.response import unit_response
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.motion.shock import worst_case

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


def _pulse(length, omega, zeta):
    """Largest deviation during a rectangular pulse and after it, in units of the steady one."""
    during = np.linspace(0.0, length, 20_001)
    after = length * (1 + 1e-12) + np.linspace(0.0, 2 * np.pi / omega, 20_001)
    times = np.r_[during, after]
    load = np.r_[np.ones(during.size), np.zeros(after.size)]
    q, _ = piecewise_linear_response(load, angular_frequency=omega, damping_ratio=zeta, times=times)
    size = omega**2 * np.abs(q[0])
    return size[: during.size].max(), size[during.size :].max()


@pytest.mark.parametrize("n", [0.05, 0.25, 0.5, 0.8, 1.0, 2.3])
def test_shock_spectrum_of_a_rectangular_pulse_is_the_handbook_one(n):
    """Undamped: 2 abs(sin(pi f tau)) after the pulse; 2, the largest of all, during it from f tau = 1/2.

    Harris' Shock and Vibration Handbook, chapter on response to step and pulse functions (from memory).
    """
    during, after = _pulse(n, omega=2 * np.pi, zeta=0.0)
    # The crest lies at most half a step, 2 pi 2.3/40,000, beside a sample: a cosine is short by half its square.
    assert after == pytest.approx(2 * np.abs(np.sin(np.pi * n)), abs=1e-7)
    assert during == pytest.approx(2.0 if n >= 0.5 else 1 - np.cos(2 * np.pi * n), abs=1e-7)


@pytest.mark.parametrize("zeta", [0.0, 0.02, 0.2])
def test_overshoot_of_a_step_is_the_textbook_one_and_the_worst_move_squares_it(zeta):
    """1 + exp(-pi zeta/sqrt(1 - zeta^2)), the overshoot formula of every control text (from memory).

    The worst move turns round at that overshoot, and so has its square: derived in `rigcheck.motion.shock`.
    """
    overshoot = 1 + np.exp(-np.pi * zeta / np.sqrt(1 - zeta**2))
    during, _ = _pulse(5.0, omega=2 * np.pi, zeta=zeta)
    assert during == pytest.approx(overshoot, abs=4e-7)  # as above, over five periods
    worst = worst_case(angular_frequency=2 * np.pi, damping_ratio=zeta)
    assert worst.peak[0] == pytest.approx(overshoot**2, rel=1e-12)
