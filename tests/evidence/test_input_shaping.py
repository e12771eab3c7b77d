"""Input shapers against the formulas of Singer and Seering, and against plain simulation."""

from __future__ import annotations

import numpy as np
import pytest
from ringing import residual_amplitude

from rigcheck.motion.profiles import profile
from rigcheck.motion.response import unit_response
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.motion.shaping import (
    convolved,
    insensitivity_width,
    shaper_residual,
    zv_shaper,
    zvd_shaper,
)

pytestmark = pytest.mark.evidence(
    what="Input shapers",
    source="Singer and Seering (1990) (from memory); plain simulation",
    serves="retime",
)

# N. C. Singer and W. P. Seering, "Preshaping command inputs to reduce system vibration", ASME Journal of
# Dynamic Systems, Measurement, and Control 112 (1990), 76-82. Formulas from memory.


@pytest.mark.parametrize("zeta", [0.0, 0.003, 0.1, 0.3])
def test_impulses_are_those_of_singer_and_seering(zeta):
    omega = 25.0
    k = np.exp(-zeta * np.pi / np.sqrt(1 - zeta**2))
    half = np.pi / (omega * np.sqrt(1 - zeta**2))
    two = zv_shaper(angular_frequency=omega, damping_ratio=zeta)
    assert two.times == pytest.approx([0, half], rel=1e-14)
    assert two.amplitudes == pytest.approx([1 / (1 + k), k / (1 + k)], rel=1e-14)
    three = zvd_shaper(angular_frequency=omega, damping_ratio=zeta)
    total = 1 + 2 * k + k**2
    assert three.times == pytest.approx([0, half, 2 * half], rel=1e-14)
    assert three.amplitudes == pytest.approx([1 / total, 2 * k / total, k**2 / total], rel=1e-14)


def test_residual_is_their_percentage_formula():
    shaper = zvd_shaper(angular_frequency=25.0, damping_ratio=0.05)
    omega, zeta = 29.0, 0.03
    damped = omega * np.sqrt(1 - zeta**2)
    grown = shaper.amplitudes * np.exp(zeta * omega * shaper.times)
    c, s = (grown * np.cos(damped * shaper.times)).sum(), (grown * np.sin(damped * shaper.times)).sum()
    expected = np.exp(-zeta * omega * shaper.times[-1]) * np.hypot(c, s)
    assert shaper_residual(shaper, angular_frequency=omega, damping_ratio=zeta)[0] == pytest.approx(
        expected, rel=1e-12
    )


@pytest.mark.parametrize("zeta", [0.0, 0.01, 0.2])
def test_no_vibration_at_the_design_frequency_and_no_slope_for_three(zeta):
    omega = 25.0
    near = omega * (1 + np.array([0.0, 1e-4, -1e-4]))
    two = shaper_residual(
        zv_shaper(angular_frequency=omega, damping_ratio=zeta), angular_frequency=near, damping_ratio=zeta
    )
    three = shaper_residual(
        zvd_shaper(angular_frequency=omega, damping_ratio=zeta), angular_frequency=near, damping_ratio=zeta
    )
    assert two[0] < 1e-14
    assert three[0] < 1e-14
    assert (two[1:] > 1e-5).all()  # pi/2 * 1e-4 for no damping: a slope
    assert (three[1:] < 1e-7).all()  # (pi/2 * 1e-4)^2: none


def test_insensitivity_widths_are_the_printed_ones():
    # 0.06 and 0.29 at 5 % are printed in the shaping literature (Singhose, Seering and Singer, from memory:
    # two digits); the closed forms beside them are derived here from abs(cos(pi r/2)) and its square.
    two = insensitivity_width(
        zv_shaper(angular_frequency=9.0, damping_ratio=0.0), angular_frequency=9.0, damping_ratio=0.0
    )
    three = insensitivity_width(
        zvd_shaper(angular_frequency=9.0, damping_ratio=0.0), angular_frequency=9.0, damping_ratio=0.0
    )
    assert two == pytest.approx(0.06, abs=0.005)
    assert three == pytest.approx(0.29, abs=0.005)
    assert two == pytest.approx(4 / np.pi * np.arcsin(0.05), rel=1e-10)
    assert three == pytest.approx(4 / np.pi * np.arcsin(np.sqrt(0.05)), rel=1e-10)


def test_shaped_move_simulated_sample_by_sample_is_still():
    omega, zeta, duration = 2 * np.pi * 3.0, 0.01, 0.4
    shaper = zv_shaper(angular_frequency=omega, damping_ratio=zeta)
    shape = profile("polynomial-4567")
    unshaped = residual_amplitude(shape, duration=duration, angular_frequency=omega, damping_ratio=zeta)[0]
    total = duration + shaper.delay
    times = np.linspace(0.0, total, 8001)
    # second differences of the shaped displacement: an independent way to its acceleration
    step = times[1]
    padded = sum(
        amplitude * shape.displacement((np.r_[-step, times, total + step] - delay) / duration)
        for delay, amplitude in zip(shaper.times, shaper.amplitudes, strict=True)
    )
    acceleration = np.diff(padded, 2) / step**2
    q, rate = piecewise_linear_response(
        -acceleration, angular_frequency=omega, damping_ratio=zeta, time_step=step
    )
    damped = omega * np.sqrt(1 - zeta**2)
    left = np.hypot(q[0, -1], (rate[0, -1] + zeta * omega * q[0, -1]) / damped)
    assert unshaped > 0.1
    assert left < 1e-5 * unshaped  # second differences are off by (h/T)^2


def test_shaped_residual_is_the_superposition_of_delayed_moves():
    omega, zeta, duration = np.array([20.0, 33.0, 70.0]), 0.02, 0.5
    shaper = zvd_shaper(angular_frequency=27.0, damping_ratio=0.02)
    shape = profile("trapezoidal")
    total = np.zeros(3, dtype=complex)
    for delay, amplitude in zip(shaper.times, shaper.amplitudes, strict=True):
        q, rate = unit_response(
            shape,
            duration=duration,
            angular_frequency=omega,
            damping_ratio=zeta,
            times=[duration + shaper.delay - delay],
        )
        damped = omega * np.sqrt(1 - zeta**2)
        total += amplitude * (q[:, 0] + 1j * (rate[:, 0] + zeta * omega * q[:, 0]) / damped)
    own = residual_amplitude(shape, duration=duration, angular_frequency=omega, damping_ratio=zeta)
    found = own * shaper_residual(shaper, angular_frequency=omega, damping_ratio=zeta)
    assert found == pytest.approx(np.abs(total), rel=1e-11)


def test_convolved_shaper_stills_both_modes():
    one = zv_shaper(angular_frequency=20.0, damping_ratio=0.003)
    two = zvd_shaper(angular_frequency=57.0, damping_ratio=0.01)
    both = convolved(one, two)
    assert both.amplitudes.sum() == pytest.approx(1.0, rel=1e-14)
    assert both.delay == pytest.approx(one.delay + two.delay, rel=1e-14)
    left = shaper_residual(both, angular_frequency=[20.0, 57.0, 35.0], damping_ratio=[0.003, 0.01, 0.003])
    assert (left[:2] < 1e-14).all()
    assert left[2] > 0.01
