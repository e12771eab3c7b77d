"""Swings that no sum of damped oscillations fits as such: play, a tap after quiet, a swing that died early."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.signal import periodogram

from rigcheck.motion.identification import identify
from rigcheck.motion.profiles import profile
from rigcheck.motion.take_merging import analytic, merged
from rigcheck.motion.take_part import dying_swing
from rigcheck.motion.take_spectrum import amplitude_spectrum


def played(times, *, full=8.0, gap=0.6, start=10.0, damping=0.008):
    """A mass on a spring with a gap to either side, integrated by scipy."""
    omega = 2 * np.pi * full

    def rate(_, state):
        push = max(abs(state[0]) - gap, 0.0) * np.sign(state[0])
        return [state[1], -(omega**2) * push - 2 * damping * omega * state[1]]

    solved = solve_ivp(
        rate, (0.0, times[-1]), [start, 0.0], t_eval=times, rtol=1e-8, atol=1e-9, max_step=0.002
    )
    return solved.y[0]


def along(values, angle=0.4):
    return values[:, None] * [np.cos(angle), np.sin(angle)]


def noisy(track, size=0.1, seed=1):
    return track + np.random.default_rng(seed).normal(0.0, size, track.shape)


TIMES = np.arange(1080) / 120.0


class TestPlay:
    def test_is_one_swing_whose_ranges_say_how_it_changes(self) -> None:
        found = identify(TIMES, noisy(along(played(TIMES))))
        main = found.components[0]
        # f0/f = 1 + (2/pi) g/(A - g), exact without damping: 7.68 Hz at the start, where A is 10 and g 0.6.
        first = 8.0 / (1 + 2 / np.pi * 0.6 / 9.4)
        # Of the range a twentieth of the energy lies above: the very start, after which it falls.
        assert 0.97 * first < main.frequency_range[1] < 1.01 * first
        assert main.frequency_range[0] < 0.95 * first
        assert main.frequency_range[0] < main.frequency < main.frequency_range[1]
        assert main.amplitude == pytest.approx(10.0, rel=0.15)
        assert len(found.parts) > len(found.components)
        assert any("changes its frequency or damping as it dies down" in note for note in found.notes)

    def test_two_supports_that_beat_stay_two(self) -> None:
        waves = [np.exp(-0.1 * TIMES) * np.cos(2 * np.pi * f * TIMES) for f in (8.0, 8.4)]
        found = identify(TIMES, noisy(along(6.0 * waves[0] + 4.0 * waves[1])))
        assert [round(one.frequency, 1) for one in found.components] == [8.0, 8.4]
        assert found.parts == found.components

    def test_parts_are_put_together_as_they_add_up(self) -> None:
        """The swing put together has the size and the turning of the sum of its parts."""
        found = identify(TIMES, noisy(along(played(TIMES))))
        whole = sum(analytic(part, np.array([0.0])) for part in found.parts)
        together, count = merged(found.parts, duration=found.stop_time, noise=found.noise)
        assert count == 1
        assert together[0].amplitude == pytest.approx(abs(whole[0]), rel=0.1)


class TestThePart:
    @pytest.mark.parametrize("seed", range(6))
    def test_quiet_before_a_tap_is_not_fitted(self, seed) -> None:
        rng = np.random.default_rng(seed)
        begin = rng.uniform(0.25, 0.6)
        since = np.maximum(TIMES - begin, 0.0)
        track = np.zeros((len(TIMES), 2))
        for frequency in (rng.uniform(6, 12), rng.uniform(13, 20), 54.0, 27.0):
            omega = 2 * np.pi * frequency
            wave = np.exp(-0.002 * omega * since) * np.sin(omega * since)
            track += along(wave * rng.uniform(1, 10), rng.uniform(0, 3))
        found = identify(TIMES, noisy(track))
        assert -0.02 < found.start_time - begin < 0.1
        assert all(one.damping_ratio < 0.01 for one in found.components)

    def test_a_swing_that_play_stills_early_is_found(self) -> None:
        track = along(played(TIMES, full=17.0, gap=1.1, damping=0.012))
        assert np.ptp(track[600:], axis=0).max() < 0.5  # still for the second half
        found = identify(TIMES, noisy(track))
        assert found.start_time < 0.2
        assert found.components[0].frequency == pytest.approx(15.8, rel=0.06)

    @pytest.mark.parametrize("name", ["trapezoidal", "cycloidal", "polynomial-345"])
    def test_a_move_is_no_dying_swing(self, name) -> None:
        path = profile(name).displacement(np.clip((TIMES - 0.5) / 2.0, 0.0, 1.0))
        assert dying_swing(noisy(along(400.0 * path)), 320) is None
        assert not identify(TIMES, noisy(along(400.0 * path))).components

    def test_noise_is_no_dying_swing(self) -> None:
        assert dying_swing(noisy(np.zeros((900, 2))), 500) is None


class TestSpectrum:
    def test_is_that_of_scipy(self) -> None:
        """scipy.signal.periodogram with the same window gives the mean square of each axis: A^2/2."""
        track = noisy(along(played(TIMES)))
        track = track - track.mean(axis=0)
        frequencies, amplitudes = amplitude_spectrum(TIMES, track)
        window = np.hanning(len(TIMES) + 2)[1:-1]
        others, power = periodogram(
            track, fs=120.0, window=window, nfft=2 * len(TIMES), detrend=False, scaling="spectrum", axis=0
        )
        inner = slice(1, -1)  # the ends have no second side
        assert frequencies == pytest.approx(others, abs=1e-9)
        assert amplitudes[inner] == pytest.approx(np.sqrt(2 * power.sum(axis=1))[inner], rel=1e-9)

    def test_refuses_what_is_no_track(self) -> None:
        with pytest.raises(ValueError, match="rows of two finite numbers"):
            amplitude_spectrum(TIMES, np.full((len(TIMES), 2), np.nan))
