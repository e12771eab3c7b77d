"""The exact recurrence for piecewise-linear loads, and the static remainder."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from rigcheck.errors import ArgumentError
from rigcheck.motion.response import free_decay
from rigcheck.motion.sampled_load import piecewise_linear_response


def _by_small_steps(load, times, omega, zeta, start=(0.0, 0.0), parts=400):
    """Fourth-order Runge-Kutta on 400 steps a sample: an independent, slow way."""
    y = np.array(start, dtype=float)
    out = [y.copy()]

    def rate(t, y):
        return np.array([y[1], np.interp(t, times, load) - 2 * zeta * omega * y[1] - omega**2 * y[0]])

    for low, high in pairwise(times):
        h = (high - low) / parts
        for k in range(parts):
            t = low + k * h
            k1 = rate(t, y)
            k2 = rate(t + h / 2, y + h / 2 * k1)
            k3 = rate(t + h / 2, y + h / 2 * k2)
            k4 = rate(t + h, y + h * k3)
            y = y + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        out.append(y.copy())
    return np.array(out).T


@pytest.mark.parametrize("many", [False, True])
def test_uneven_samples_with_a_start_in_motion(many):
    times = np.array([0.0, 0.1, 0.12, 0.5, 0.9, 1.0])
    load = np.array([1.0, -2.0, 0.5, 3.0, 0.0, 1.0])
    omega, zeta = 9.0, 0.04
    expected = _by_small_steps(load, times, omega, zeta, start=(0.2, -1.0))
    copies = np.full(50 if many else 1, omega)  # more oscillators than samples take the other way through
    q, rate = piecewise_linear_response(
        load, angular_frequency=copies, damping_ratio=zeta, times=times, initial=(0.2, -1.0)
    )
    assert q[-1] == pytest.approx(expected[0], abs=1e-10)
    assert rate[0] == pytest.approx(expected[1], abs=1e-9)


@pytest.mark.parametrize("step", [1e-6, 1e-3, 0.4, 30.0])
def test_constant_load_settles_to_the_static_deflection_whatever_the_step(step):
    omega, zeta = 7.0, 0.05
    times = step * np.arange(50)
    q, rate = piecewise_linear_response(
        np.full(50, 3.0), angular_frequency=omega, damping_ratio=zeta, time_step=step
    )
    # q - 3/omega^2 is a free vibration from -3/omega^2
    free, free_rate = free_decay(
        -3.0 / omega**2, 0.0, angular_frequency=omega, damping_ratio=zeta, times=times
    )
    assert q == pytest.approx(free + 3.0 / omega**2, abs=1e-13)
    assert rate == pytest.approx(free_rate, abs=1e-12)


@pytest.mark.parametrize("count", [1, 2, 3, 5, 16, 17, 1000])
def test_blocks_join_without_a_seam(count):
    rng = np.random.default_rng(count)
    load = rng.normal(size=count)
    omega, zeta = 12.0, 0.01
    even = piecewise_linear_response(load, angular_frequency=omega, damping_ratio=zeta, time_step=0.05)
    uneven = piecewise_linear_response(
        load, angular_frequency=omega, damping_ratio=zeta, times=0.05 * np.arange(count)
    )
    many = piecewise_linear_response(
        load, angular_frequency=np.full(count + 1, omega), damping_ratio=zeta, time_step=0.05
    )
    for one, other, third in zip(even, uneven, many, strict=True):
        assert one == pytest.approx(other, abs=1e-12)
        assert one[0] == pytest.approx(third[-1], abs=1e-12)


def test_half_the_record_then_the_rest_is_the_whole():
    load = np.random.default_rng(0).normal(size=(2, 301))
    kwargs = {"angular_frequency": [3.0, 50.0], "damping_ratio": [0.0, 0.1], "time_step": 0.02}
    q, _ = piecewise_linear_response(load, **kwargs)
    first, first_rate = piecewise_linear_response(load[:, :151], **kwargs)
    rest, _ = piecewise_linear_response(load[:, 150:], initial=(first[:, -1], first_rate[:, -1]), **kwargs)
    assert np.hstack([first, rest[:, 1:]]) == pytest.approx(q, abs=1e-12)


def test_batches_of_loads_and_modes():
    load = np.random.default_rng(1).normal(size=(4, 3, 60))
    omega = np.random.default_rng(2).uniform(2, 90, (4, 3))
    q, rate = piecewise_linear_response(load, angular_frequency=omega, damping_ratio=0.02, time_step=0.03)
    assert q.shape == rate.shape == (4, 3, 60)
    one, _ = piecewise_linear_response(
        load[2], angular_frequency=omega[2], damping_ratio=0.02, time_step=0.03
    )
    assert q[2] == pytest.approx(one, abs=1e-14)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"time_step": None}, "give one of the two"),
        ({"times": [0.0, 1.0, 2.0]}, "give one of the two"),
        ({"time_step": None, "times": [0.0, 1.0]}, "times has 2 samples, the load 3"),
        (
            {"time_step": None, "times": [0.0, 1.0, 1.0]},
            r"sample 2 at 1 s does not come after sample 1 at 1 s",
        ),
        ({"time_step": -1.0}, "time_step: given -1 s"),
        ({"load": [0.0, np.nan, 1.0]}, "all finite"),
        ({"load": np.zeros((5, 3)), "angular_frequency": [1.0, 2.0]}, "have to fit the modes"),
        ({"initial": (np.nan, 0.0)}, "initial: displacement and velocity"),
    ],
)
def test_bad_arguments_are_named(change, message):
    kwargs = {"load": [0.0, 1.0, 2.0], "angular_frequency": 3.0, "damping_ratio": 0.0, "time_step": 0.1}
    kwargs = {**kwargs, **change}
    with pytest.raises(ArgumentError, match=message):
        piecewise_linear_response(kwargs.pop("load"), **kwargs)


def test_clocks_of_a_few_different_steps_change_nothing():
    """A clock written in microseconds has a handful of different steps; each is worked out once."""
    count = 30_000
    times = np.round(np.arange(count) * 0.0123456789, 6)
    load = np.sin(0.37 * times) + 0.2 * np.cos(40.0 * times)
    draw = np.random.default_rng(4)
    odd = times + 1e-7 * draw.uniform(-1, 1, count)  # no two steps alike
    one, other = (
        piecewise_linear_response(load, angular_frequency=[12.0], damping_ratio=0.002, times=clock)[0]
        for clock in (times, odd)
    )
    assert one == pytest.approx(other, abs=1e-5 * np.abs(other).max())
    few = slice(0, 3000)  # too few to look for equal steps
    start = piecewise_linear_response(
        load[few], angular_frequency=[12.0], damping_ratio=0.002, times=times[few]
    )[0]
    assert one[:, few] == pytest.approx(start, abs=1e-9 * np.abs(start).max())
