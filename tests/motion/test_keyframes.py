"""Keyframed moves: reconstruction, rounding, and the line that playback adds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from rigcheck.errors import ArgumentError
from rigcheck.motion.keyframes import chord_error, keyframe_path, rounding, sampling_line
from rigcheck.motion.profiles import profile
from rigcheck.motion.response import unit_displacement
from rigcheck.motion.sampled_load import piecewise_linear_response


def _uneven(count, seed=0):
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.uniform(0.6, 1.4, count))
    return (times - times[0]) / (times[-1] - times[0])


def test_acceleration_converges_with_the_square_of_the_spacing():
    shape, fine = profile("polynomial-4567"), np.linspace(0, 1, 4001)
    errors = []
    for count in (41, 81, 161):
        path = keyframe_path(np.linspace(0, 1, count), shape.displacement(np.linspace(0, 1, count)))
        errors.append(np.abs(path.at(fine)[2] - shape.acceleration(fine)).max())
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert rates == pytest.approx([2.0, 2.0], abs=0.15)


def test_uneven_keyframes_give_back_the_move():
    shape, times = profile("polynomial-345"), 3.0 * _uneven(90)
    path = keyframe_path(times, 0.4 * shape.displacement(times / 3.0))
    t = np.linspace(0, 3.0, 700)
    s, v, a = path.at(t)
    assert s == pytest.approx(0.4 * shape.displacement(t / 3), abs=2e-6)
    assert v == pytest.approx(0.4 / 3 * shape.velocity(t / 3), abs=1e-4)
    assert a == pytest.approx(0.4 / 9 * shape.acceleration(t / 3), abs=5e-3)


def test_path_is_smooth_and_passes_through_its_keyframes():
    times, values = _uneven(12), np.random.default_rng(3).normal(size=12)
    path = keyframe_path(times, values)
    s, v, a = path.at(times)
    assert s == pytest.approx(values, abs=1e-12)
    assert v[[0, -1]] == pytest.approx(0.0, abs=1e-9)
    before = path.at(times[1:-1] - 1e-9)
    assert before[1] == pytest.approx(v[1:-1], abs=1e-5)
    assert before[2] == pytest.approx(a[1:-1], abs=1e-2 * np.abs(a).max())


def test_outside_the_keyframes_the_head_stands():
    path = keyframe_path([1.0, 2.0, 4.0], [0.0, 1.0, 5.0])
    s, v, a = path.at([0.0, 9.0])
    assert s.tolist() == [0.0, 5.0]
    assert v.tolist() == a.tolist() == [0.0, 0.0]


def test_free_ends_keep_a_constant_speed():
    times = _uneven(9)
    path = keyframe_path(times, 2.0 * times, ends="free")
    assert path.velocity == pytest.approx(2.0, abs=1e-9)
    assert path.acceleration == pytest.approx(0.0, abs=1e-8)


def test_response_to_keyframes_is_exact_for_the_spline_and_near_for_the_move():
    shape, omega, zeta, duration = profile("cycloidal"), 2 * np.pi * 3, 0.01, 2.0
    times = duration * np.linspace(0, 1, 201)
    path = keyframe_path(times, shape.displacement(times / duration))
    q, _ = piecewise_linear_response(
        -path.acceleration, angular_frequency=omega, damping_ratio=zeta, times=times
    )
    expected = unit_displacement(
        shape, duration=duration, angular_frequency=omega, damping_ratio=zeta, times=times
    )
    assert q == pytest.approx(expected, abs=2e-4 * np.abs(expected).max())  # (2 pi h/T)^2/12


@pytest.mark.parametrize("step", [1e-3, 1e-4])
def test_rounded_values_are_recognised_with_their_noise(step):
    times = np.linspace(0, 4, 401)
    smooth = 0.22 * profile("cycloidal").displacement(times / 4)
    clean, rounded = keyframe_path(times, smooth), keyframe_path(times, np.round(smooth / step) * step)
    sign = rounding(rounded)
    assert sign.step == pytest.approx(step, rel=1e-6)
    real = (rounded.acceleration - clean.acceleration)[20:-20]
    # a statistical formula on 360 samples, and near the ends the path dwells on one level: 30 %
    assert sign.acceleration_noise == pytest.approx(np.sqrt((real**2).mean()), rel=0.3)
    assert sign.visible
    assert sign.jerk_ratio > 1.5


def test_smooth_values_are_not_called_rounded():
    times = np.linspace(0, 4, 401)
    sign = rounding(keyframe_path(times, 0.22 * profile("cycloidal").displacement(times / 4)))
    assert sign.step is None
    assert sign.acceleration_noise == 0.0
    assert not sign.visible
    # a sine of 400 samples a period changes its jerk by 2 pi/400 from one to the next
    assert sign.jerk_ratio == pytest.approx(2 * np.pi / 400, rel=0.05)


def test_constant_speed_is_no_sign_of_rounding():
    sign = rounding(keyframe_path(np.arange(20.0), 0.01 * np.arange(20.0), ends="free"))
    assert sign.step is None
    assert not sign.visible


def test_noise_formula_on_white_noise():
    """6 sigma/h^2: the only random part is the sample of noise itself."""
    rng = np.random.default_rng(7)
    h, step = 0.01, 1e-3
    times = np.arange(20_001) * h
    values = step * rng.integers(-40, 41, times.size)
    exact = 3.0 * np.sin(times)  # moves on by many steps: errors of rounding are even and independent
    noise = np.round(exact / step) * step - exact
    path = keyframe_path(times, noise, ends="free")
    assert np.sqrt((path.acceleration**2).mean()) == pytest.approx(6 * step / np.sqrt(12) / h**2, rel=0.03)
    assert rounding(keyframe_path(times, values)).jerk_ratio == pytest.approx(1.92, abs=0.03)


def test_a_path_that_does_not_move_shows_nothing():
    sign = rounding(keyframe_path(np.arange(6.0), np.ones(6)))
    assert (sign.step, sign.acceleration_noise, sign.jerk_ratio, sign.visible) == (None, 0.0, 0.0, False)


@pytest.mark.parametrize("playback", ["linear", "hold"])
def test_sampling_line_is_what_a_fourier_sum_finds(playback):
    """A sine path played back from samples: the lines beside the sampling rate, as displacement, summed."""
    rate, path_frequency, size, fine = 50, 1.0, 0.01, 400
    t = np.arange(rate * fine) / (rate * fine)  # one period of the path, whole samples
    samples = size * np.sin(2 * np.pi * path_frequency * np.arange(rate + 1) / rate)
    if playback == "linear":
        played = np.interp(t * rate, np.arange(rate + 1), samples)
    else:
        played = samples[np.floor(t * rate + 1e-9).astype(int)]
    spectrum = np.abs(np.fft.rfft(played)) / t.size * 2
    beside = (
        spectrum[rate - 1] + spectrum[rate + 1]
    )  # two lines: the amplitude at the worst moment is their sum
    line = sampling_line(
        sampling_rate=rate,
        peak_velocity=size * 2 * np.pi * path_frequency,
        peak_acceleration=size * (2 * np.pi * path_frequency) ** 2,
        playback=playback,
    )
    assert line.frequency == rate
    assert line.displacement == pytest.approx(
        beside, rel=5e-3
    )  # (path rate/sampling rate)^2 and the staircase
    assert line.acceleration == pytest.approx(line.displacement * (2 * np.pi * rate) ** 2, rel=1e-12)


def test_error_of_straight_lines_is_a_row_of_parabolas():
    times = np.array([0.0, 0.1, 0.3, 0.4, 0.7, 1.0])
    path = keyframe_path(times, [0.0, 0.02, 0.05, 0.06, 0.02, 0.0])
    at, error = chord_error(path, per_stretch=10)
    assert at.size == 51
    assert at[::10] == pytest.approx(times, abs=1e-15)
    assert error[::10] == pytest.approx(0.0, abs=1e-17)
    # Half way over a cubic the chord is off by h^2/8 of the mean of its two end accelerations.
    height = np.diff(times) ** 2 / 8 * (path.acceleration[1:] + path.acceleration[:-1]) / 2
    assert error[5::10] == pytest.approx(height, rel=1e-9)


def test_long_lists_are_looked_at_where_they_accelerate_most():
    times = np.linspace(0.0, 100.0, 10_001)
    path = keyframe_path(times, np.tanh((times - 70.0) / 0.5))
    at, error = chord_error(path, most=500)
    assert at.size == 8 * 500 + 1
    assert at[0] < 70.0 < at[-1]
    assert np.abs(error).max() == pytest.approx(np.abs(path.acceleration).max() * 0.01**2 / 8, rel=1e-3)


@pytest.mark.parametrize("count", [2, 3, 4, 57])
def test_spline_at_rest_is_that_of_the_library(count):
    """scipy's CubicSpline with clamped ends, to rounding."""
    draw = np.random.default_rng(count)
    times = np.cumsum(draw.uniform(0.01, 0.5, count))
    values = draw.standard_normal(count)
    path = keyframe_path(times, values)
    spline = CubicSpline(times, values, bc_type="clamped")
    size = np.abs(spline(times, 2)).max()
    assert path.acceleration == pytest.approx(spline(times, 2), abs=1e-11 * size)
    assert path.velocity == pytest.approx(spline(times, 1), abs=1e-11 * size)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: keyframe_path([0.0, 1.0, 0.5], [0, 0, 0]),
            r"sample 2 at 0\.5 s does not come after sample 1",
        ),
        (
            lambda: keyframe_path([0.0, 1.0], [0.0]),
            r"values: given shape \(1,\); wanted one for each of 2 times",
        ),
        (lambda: keyframe_path([0.0, 1.0], [0.0, np.inf]), "values: sample 1 is not a finite number"),
        (lambda: keyframe_path([0.0], [0.0]), "n at least 2"),
        (lambda: keyframe_path([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], ends="free"), "n at least 4"),
        (
            lambda: keyframe_path([0.0, 1.0], [0.0, 1.0], ends="open"),
            'given "open"; allowed are "rest" and "free"',
        ),
        (
            lambda: sampling_line(sampling_rate=0.0, peak_velocity=1.0, peak_acceleration=1.0),
            "sampling_rate: given 0 Hz",
        ),
        (
            lambda: sampling_line(sampling_rate=9.0, peak_velocity=-1.0, peak_acceleration=1.0),
            "peak_velocity: given -1",
        ),
        (
            lambda: sampling_line(
                sampling_rate=9.0, peak_velocity=1.0, peak_acceleration=1.0, playback="jump"
            ),
            'allowed are "linear" and "hold"',
        ),
    ],
)
def test_bad_arguments_are_named(call, message):
    with pytest.raises(ArgumentError, match=message):
        call()
