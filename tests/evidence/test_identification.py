"""Identification of wobble against tracks of known truth, textbook bounds and a reference library.

The tracks are made from the textbook free vibration A exp(-zeta w t) cos(w sqrt(1 - zeta^2) t + phase), or by
integrating the equation of motion with scipy; nothing of the project goes into them.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares
from scipy.signal import hilbert

from rigcheck.motion.identification import aliases, identify

pytestmark = pytest.mark.evidence(
    what="Frequency and damping from noisy takes",
    source=(
        "Tracks of known truth; Cramer-Rao bound (Kay, 1993); scipy's least squares and integrator; "
        "worked example of a textbook (from memory)"
    ),
    serves="explain",
)

RATES = (24, 25, 50, 120)
MIXTURES = {
    1: [(3.1, 0.012, 6.0, 0.4, 0.3)],
    2: [(2.3, 0.010, 6.0, 0.3, 1.0), (7.9, 0.006, 6.0, 1.4, 2.0)],
    3: [(2.3, 0.010, 6.0, 0.3, 1.0), (5.2, 0.008, 7.0, 1.9, 0.0), (8.8, 0.006, 8.0, 1.1, 2.0)],
}


def ringing(times, modes):
    """Track of modes (frequency, damping ratio, amplitude, angle on screen, phase)."""
    track = np.zeros((times.size, 2))
    for frequency, ratio, amplitude, angle, phase in modes:
        omega = 2 * np.pi * frequency
        swing = amplitude * np.exp(-ratio * omega * times)
        swing = swing * np.cos(omega * np.sqrt(1 - ratio**2) * times + phase)
        track += swing[:, None] * [np.cos(angle), np.sin(angle)]
    return track


def nearest(found, frequency):
    return min(found.components, key=lambda component: abs(component.frequency - frequency))


def eight_bits(track):
    """Round to 256 levels over the track's own extent."""
    step = np.ptp(track, axis=0).max() / 255
    return np.round(track / step) * step


@pytest.mark.parametrize("noise", [0.05, 0.2, 0.5])
@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("rate", RATES)
def test_the_figures_to_reach(rate, count, noise) -> None:
    """Frequency within 0.5 %, damping within 15 %, with 8 cycles and more in view (18 s of ringing).

    The damping asked for can be had here: the ranges themselves give it a standard deviation of 4 % at most.
    """
    rng = np.random.default_rng(1000 * rate + 10 * count + int(100 * noise))
    times = np.arange(18 * rate) / rate
    track = ringing(times, MIXTURES[count]) + rng.normal(0.0, noise, (times.size, 2))
    track += np.array([960.0, 540.0]) + np.outer(times, [0.2, -0.1])  # slow drift
    if count == 2:
        track = eight_bits(track)
    whole = np.ones(times.size, dtype=bool)
    whole[rng.integers(0, times.size, times.size // 40)] = False
    whole[2 * rate : 2 * rate + 6] = False  # a gap
    found = identify(times[whole], track[whole])
    assert len(found.components) == count
    assert found.noise == pytest.approx(noise, rel=0.15)  # the spread of a spread from 400 frames is 4 %
    for frequency, ratio, amplitude, angle, _ in MIXTURES[count]:
        component = nearest(found, frequency)
        assert component.frequency == pytest.approx(frequency, rel=0.005)
        assert component.damping_ratio == pytest.approx(ratio, rel=0.15)
        assert component.amplitude == pytest.approx(amplitude, rel=0.1)
        turn = abs(component.direction @ [np.cos(angle), np.sin(angle)])
        assert turn > np.cos(np.radians(5.0))


def random_track(seed):
    """One of many takes: rate, modes, noise, gaps, rounding and drift drawn at random, from the seed alone."""
    rng = np.random.default_rng(seed)
    rate = int(rng.choice(RATES))
    duration = rng.uniform(5.0, 10.0)
    times = np.arange(int(duration * rate)) / rate
    count = int(rng.integers(1, 4))
    lowest = max(1.0, 9.2 / duration)
    while True:
        frequencies = np.sort(np.exp(rng.uniform(np.log(lowest), np.log(min(0.45 * rate, 20.0)), count)))
        if (np.diff(frequencies) > 4.0 / duration).all():
            break
    modes = [
        (
            frequency,
            np.exp(rng.uniform(np.log(0.002), np.log(0.02))),
            rng.uniform(2.0, 8.0),
            rng.uniform(0.0, np.pi),
            rng.uniform(0.0, 2 * np.pi),
        )
        for frequency in frequencies
    ]
    track = ringing(times, modes) + rng.normal(0.0, rng.uniform(0.05, 0.5), (times.size, 2))
    track += np.outer(times, rng.normal(0.0, 0.3, 2))
    if seed % 3 == 1:
        track = np.round(track * 8.0) / 8.0
    if seed % 3 == 2:
        track += 0.5 * np.sin(np.pi * times / duration)[:, None]
    whole = np.ones(times.size, dtype=bool)
    if seed % 2:
        whole[rng.integers(0, times.size, times.size // 50)] = False
        gap = int(rng.integers(times.size // 4, times.size // 2))
        whole[gap : gap + 8] = False
    return times[whole], track[whole], modes


def share_held(seeds):
    """Share of the truths that the 90 % ranges of frequency, damping ratio and amplitude hold, and how many."""
    held = []
    missed = 0
    for seed in seeds:
        times, track, modes = random_track(seed)
        found = identify(times, track)
        for frequency, ratio, amplitude, _, _ in modes:
            component = nearest(found, frequency) if found.components else None
            if component is None or abs(component.frequency - frequency) > 0.02 * frequency:
                missed += 1
                continue
            left = amplitude * np.exp(-ratio * 2 * np.pi * frequency * found.start_time)
            held.append(
                [
                    component.frequency_range[0] <= frequency <= component.frequency_range[1],
                    component.damping_range[0] <= ratio <= component.damping_range[1],
                    component.amplitude_range[0] <= left <= component.amplitude_range[1],
                ]
            )
    return np.mean(held, axis=0), len(held), missed


def test_ranges_hold_nine_truths_in_ten() -> None:
    """60 takes; over n truths a fair 90 % range scatters by sqrt(0.09/n), three times of which is allowed."""
    shares, count, missed = share_held(range(60))
    assert missed <= 1
    assert (abs(shares - 0.9) < 3.0 * np.sqrt(0.09 / count)).all(), shares


def bound(amplitude, noise, count, rate):
    """Least standard deviation of the frequency [Hz] and of the decay [1/s] of a lasting swing in white noise.

    The Cramer-Rao bound of the angular frequency of one real sinusoid, 24 sigma^2/(A^2 n^3) per sample^2: D. C.
    Rife and R. R. Boorstyn, "Single-tone parameter estimation from discrete-time observations", IEEE
    Transactions on Information Theory 20 (1974) 591-598, there for a complex tone; S. M. Kay, *Fundamentals of
    Statistical Signal Processing: Estimation Theory*, 1993, example 3.14. Both from memory. For the decay the
    bound is the same number, because its derivative is that of the frequency a quarter cycle on (derived here).
    """
    deviation = np.sqrt(24.0 * noise**2 / (amplitude**2 * count**3)) * rate
    return deviation / (2 * np.pi), deviation


@pytest.mark.of_the_method
def test_ranges_are_as_narrow_as_the_bound_allows() -> None:
    rate, count, noise, amplitude, frequency = 50, 600, 0.3, 4.0, 3.7
    times = np.arange(count) / rate
    rng = np.random.default_rng(7)
    widths, errors = [], []
    for _ in range(12):
        track = ringing(times, [(frequency, 0.0, amplitude, 0.0, rng.uniform(0, 6))])
        component = identify(times, track + rng.normal(0.0, noise, track.shape)).components[0]
        widths.append(np.ptp(component.frequency_range))
        errors.append(component.frequency - frequency)
    least, _ = bound(amplitude, noise, count, rate)
    # 1.645 standard deviations to either side; the spectrum of the residuals may only widen it, by a few %.
    # A single width scatters by some 5 %, as the noise, the amplitude and the decay found do.
    assert np.mean(widths) == pytest.approx(2 * 1.645 * least, rel=0.1)
    assert min(widths) > 0.8 * 2 * 1.645 * least
    # The scatter of 12 estimates is known to 20 %.
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(least, rel=0.5)


def test_the_fit_is_that_of_a_reference_library() -> None:
    """Same least-squares problem handed to scipy as a whole: same minimum, same spread."""
    rate, count = 25, 300
    times = np.arange(count) / rate
    modes = [(2.3, 0.010, 5.0, 0.3, 1.0), (4.9, 0.015, 3.0, 1.4, 2.0)]
    rng = np.random.default_rng(3)
    track = ringing(times, modes) + rng.normal(0.0, 0.2, (count, 2))
    found = identify(times, track)
    assert (found.start_index, found.stop_index, found.drift_degree) == (0, count, 1)

    def residuals(numbers):
        model = np.outer(np.ones(count), numbers[:2]) + np.outer(times, numbers[2:4])
        for decay, omega, *parts in numbers[4:].reshape(-1, 6):
            wave = np.exp((-decay + 1j * omega) * times)
            model = model + np.stack(
                [(wave * (parts[0] + 1j * parts[1])).real, (wave * (parts[2] + 1j * parts[3])).real], axis=1
            )
        return (model - track).ravel()

    begin = np.zeros(4)
    for frequency, ratio, amplitude, angle, phase in modes:
        omega = 2 * np.pi * frequency
        turned = amplitude * np.exp(1j * phase)
        begin = np.concatenate(
            [
                begin,
                [ratio * omega, omega],
                *[[turned.real * cosine, turned.imag * cosine] for cosine in (np.cos(angle), np.sin(angle))],
            ]
        )
    reference = least_squares(residuals, begin, method="lm", xtol=1e-12, ftol=1e-12)
    freedom = 2 * count - begin.size
    spread = np.linalg.inv(reference.jac.T @ reference.jac) * 2 * reference.cost / freedom
    assert found.residual_rms == pytest.approx(np.sqrt(2 * reference.cost / (2 * count)), rel=1e-6)
    for j, (frequency, *_) in enumerate(modes):
        decay, omega = reference.x[4 + 6 * j : 6 + 6 * j]
        component = nearest(found, frequency)
        # Our steps end where they move a number by a hundredth of its spread at most.
        deviation = np.sqrt(spread[5 + 6 * j, 5 + 6 * j])
        assert abs(2 * np.pi * component.frequency - np.hypot(decay, omega)) < 0.02 * deviation
        assert component.damping_ratio == pytest.approx(decay / np.hypot(decay, omega), rel=5e-3)
        # Ours is wider only by the colour of the residuals (a factor of 1 to 1.3 for 300 frames of white noise).
        ratio = np.ptp(component.frequency_range) / (2 * 1.645 * deviation / (2 * np.pi))
        assert 0.98 < ratio < 1.35


def test_oscillator_integrated_by_a_reference_library() -> None:
    """Two masses on springs, their equation of motion integrated by scipy from a blow to the first."""
    masses, stiffness, damping = np.diag([0.3, 0.1]), np.array([[90.0, -25.0], [-25.0, 40.0]]), 0.0009
    inverse = np.linalg.inv(masses)
    eigenvalues = np.sort(np.linalg.eigvals(inverse @ stiffness).real)

    def motion(_, state):
        position, velocity = state[:2], state[2:]
        return np.concatenate([velocity, -inverse @ (stiffness @ (position + damping * velocity))])

    times = np.arange(500) / 50.0
    solution = solve_ivp(motion, (0, times[-1]), [0, 0, 80.0, 0], t_eval=times, rtol=1e-9, atol=1e-9)
    # One mass is seen along x, the other, less of it, along y.
    found = identify(times, solution.y[:2].T * [1.0, 0.5])
    assert len(found.components) == 2
    for value in eigenvalues:
        omega = np.sqrt(value)
        component = nearest(found, omega / (2 * np.pi))
        # Damping in proportion to the stiffness gives zeta = damping omega/2 (Rayleigh; any text on vibration).
        assert component.frequency == pytest.approx(omega / (2 * np.pi), rel=1e-6)
        assert component.damping_ratio == pytest.approx(0.5 * damping * omega, rel=1e-4)


def test_logarithmic_decrement() -> None:
    """Peaks of the ringing found fall from swing to swing by delta = 2 pi zeta/sqrt(1 - zeta^2) (S. S. Rao,
    *Mechanical Vibrations*, section 2.6, from memory): 5.00 mm to 3.00 mm in 10 swings."""
    delta = np.log(5.0 / 3.0) / 10.0
    times = np.arange(400) / 50.0
    swing = 5.0 * np.exp(-delta * 2.0 * times) * np.cos(2 * np.pi * 2.0 * times)  # two swings a second
    found = identify(times, np.stack([swing, 0.0 * swing], axis=1), unit="mm")
    (component,) = found.components
    assert component.damped_frequency == pytest.approx(2.0, rel=1e-6)
    assert component.damping_ratio == pytest.approx(delta / np.sqrt(4 * np.pi**2 + delta**2), rel=1e-5)
    assert component.amplitude * np.exp(-delta * 2.0 * (5.0 - found.start_time)) == pytest.approx(
        3.0, rel=1e-5
    )


def test_worked_example_of_logarithmic_decrement() -> None:
    """W. T. Thomson, *Theory of Vibration with Applications*, example 2.6-1, from memory: weight 10 lb, stiffness 30
    lb/in, damping 0.12 lb s/in (g = 386 in/s^2) give 34.0 rad/s, a damping factor of 0.0681 and a ratio of successive
    amplitudes of 1.54. The motion is integrated by scipy and identified as a track."""
    times = np.arange(360) / 120.0
    mass = 10.0 / 386.0
    solved = solve_ivp(
        lambda _, state: [state[1], -(0.12 * state[1] + 30.0 * state[0]) / mass],
        (0.0, times[-1]),
        [5.0, 0.0],
        t_eval=times,
        rtol=1e-10,
        atol=1e-12,
    )
    found = identify(times, np.stack([solved.y[0], 0.3 * solved.y[0]], axis=1), unit="mm")
    (component,) = found.components
    assert 2 * np.pi * component.frequency == pytest.approx(34.0, abs=0.05)  # half the last digit printed
    assert component.damping_ratio == pytest.approx(0.0681, abs=5e-5)
    decrement = 2 * np.pi * component.damping_ratio / np.sqrt(1 - component.damping_ratio**2)
    assert np.exp(decrement) == pytest.approx(1.54, abs=0.005)


def test_envelope_of_a_reference_library() -> None:
    """The slope of the logarithm of scipy.signal's analytic envelope is the decay found by the fit."""
    times = np.arange(1200) / 120.0
    track = ringing(times, [(6.3, 0.008, 8.0, 0.0, 0.4)])
    noise = np.random.default_rng(8).normal(0.0, 0.05, track.shape)
    (component,) = identify(times, track + noise).components
    envelope = np.abs(hilbert((track + noise)[:, 0]))
    inner = slice(60, 900)  # clear of the ends, where the transform wraps round, and of the noise
    slope = np.polyfit(times[inner], np.log(envelope[inner]), 1)[0]
    decay = 2 * np.pi * component.frequency * component.damping_ratio
    assert -slope == pytest.approx(decay, rel=0.01)


@pytest.mark.parametrize("true", [8.3, 11.0, 13.4, 20.2, 27.9, 36.1])
def test_below_near_and_above_half_the_frame_rate(true) -> None:
    """A wheel seen at 24 frames a second: the true frequency is one of those that fit what is seen."""
    rng = np.random.default_rng(int(10 * true))
    times = np.arange(240) / 24.0
    track = ringing(times, [(true, 0.002, 5.0, 0.5, 1.0)]) + rng.normal(0.0, 0.1, (240, 2))
    (component,) = identify(times, track).components
    assert component.damped_frequency <= 12.0
    fits = aliases(component.damped_frequency, frame_rate=24.0, highest=60.0)
    assert np.abs(np.array(fits) - true).min() < 0.005 * true


def test_aliases_give_the_same_samples() -> None:
    times = np.arange(200) / 25.0
    fits = aliases(6.3, frame_rate=25.0, highest=140.0)
    assert fits == pytest.approx([6.3, 18.7, 31.3, 43.7, 56.3, 68.7, 81.3, 93.7, 106.3, 118.7, 131.3])
    for frequency in fits:
        assert np.cos(2 * np.pi * frequency * times) == pytest.approx(
            np.cos(2 * np.pi * 6.3 * times), abs=1e-9
        )
    for frequency in (12.0, 25.0, 50.0):
        assert np.abs(np.cos(2 * np.pi * frequency * times) - np.cos(2 * np.pi * 6.3 * times)).max() > 0.5
