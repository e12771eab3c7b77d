"""A wobble as seen: extents against all pairs, frequencies against sampled sines, blur against quadrature."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.spatial.distance import pdist

from rigcheck.errors import ArgumentError
from rigcheck.picture import wobble

rates = st.floats(1.0, 500.0)


@pytest.mark.parametrize("count", [1, 2, 7, 360, 361, 1500])
def test_extent_is_the_largest_of_all_pair_distances(count):
    """Against scipy's pair distances; above 360 places the search may be 4e-5 short, never long."""
    rng = np.random.default_rng(count)
    path = rng.normal(size=(3, count, 2)) * [5.0, 1.0] @ np.array([[0.8, 0.6], [-0.6, 0.8]])
    found = wobble.peak_to_peak(path)
    for k in range(3):
        largest = pdist(path[k]).max() if count > 1 else 0.0
        assert found.extent[k] <= largest * (1 + 1e-14)
        assert found.extent[k] == pytest.approx(largest, rel=1e-14 if count <= 360 else 4e-5)
    if count > 1:
        assert np.linalg.norm(found.direction, axis=-1) == pytest.approx(np.ones(3))


def test_extent_of_a_ragged_ring():
    """Places near a circle are hardest for the search by direction: many pairs are almost farthest."""
    rng = np.random.default_rng(8)
    for _ in range(5):
        angle = rng.uniform(0.0, 2.0 * np.pi, 500)
        ring = (rng.uniform(0.9, 1.0, 500) * [np.cos(angle), np.sin(angle)]).T
        found = wobble.peak_to_peak(ring).extent
        assert 1 - 4e-5 <= found / pdist(ring).max() <= 1 + 1e-14


def test_extent_of_an_ellipse_is_its_long_axis():
    t = np.linspace(0.0, 2.0 * np.pi, 2001)
    path = np.stack([3.0 * np.cos(t), 0.5 * np.sin(t)], axis=-1) @ np.array([[0.6, 0.8], [-0.8, 0.6]])
    found = wobble.peak_to_peak(path)
    assert found.extent == pytest.approx(6.0, rel=4e-5)
    assert abs(found.direction @ [0.6, 0.8]) == pytest.approx(1.0, rel=1e-6)


def test_still_path_has_no_extent_and_no_direction():
    found = wobble.peak_to_peak(np.full((5, 2), 3.0))
    assert found.extent == 0.0
    assert found.direction.tolist() == [0.0, 0.0]


@given(st.floats(0.0, 2000.0), rates)
def test_seen_frequency_gives_the_same_frames(frequency, rate):
    """cos(2 pi f n / r) and cos(2 pi f_seen n / r) are the same numbers for every frame n (derived here)."""
    seen, false = wobble.seen_frequency(frequency, rate)
    frames = np.arange(50)
    true = np.cos(2 * np.pi * np.remainder(frequency * frames / rate, 1.0))
    assert np.cos(2 * np.pi * float(seen) * frames / rate) == pytest.approx(true, abs=1e-9)
    assert 0.0 <= seen <= rate / 2 * (1 + 1e-12)
    assert bool(false) == (frequency > rate / 2)


@given(st.floats(0.0, 2000.0), rates, st.floats(1.0, 100.0))
def test_playback_stretches_time(frequency, rate, shown):
    seen, false = wobble.seen_frequency(frequency, rate, shown)
    as_shot, as_shot_false = wobble.seen_frequency(frequency, rate)
    assert seen == pytest.approx(as_shot * shown / rate, rel=1e-14)
    assert false == as_shot_false


@given(st.floats(0.0, 1.0), rates, st.floats(1.0, 100.0))
def test_every_lookalike_is_seen_the_same_and_none_is_missing(share, rate, shown):
    seen = share * shown / 2
    highest = 4.3 * rate
    found = wobble.lookalike_frequencies(seen, rate, shown, highest=highest)
    again, _ = wobble.seen_frequency(found, rate, shown)
    assert again == pytest.approx(np.full(len(found), seen), abs=1e-9 * shown)
    assert (np.diff(found) > 0).all()
    # where the seen frequency of a fine grid passes the wanted one, a listed one lies within a step
    grid = np.linspace(0.0, highest, 4001)
    above = wobble.seen_frequency(grid, rate, shown)[0] > seen
    passed = grid[np.flatnonzero(above[1:] != above[:-1])]
    nearest = np.abs(found - passed[:, None]).min(axis=1, initial=np.inf)
    assert (nearest <= grid[1] * (1 + 1e-9)).all()


def test_smoothing_is_the_mean_over_the_exposure():
    """Amplitude of the running mean of a cosine, by quadrature: 1e-10 relative."""
    for frequency, exposure in ((3.0, 0.01), (12.0, 0.02), (60.0, 0.02)):
        half = exposure / 2
        mean = quad(lambda t, f: np.cos(2 * np.pi * f * t), -half, half, frequency)[0] / exposure
        assert wobble.exposure_smoothing(frequency, exposure) == pytest.approx(abs(mean), rel=1e-10)
    assert wobble.exposure_smoothing(50.0, 0.02) == pytest.approx(0.0, abs=1e-15)


def test_blur_is_the_largest_way_within_the_exposure():
    """Against the range of a sampled sine in a window slid over it; 2000 samples leave 1e-5 of the extent."""
    for frequency, exposure in ((3.0, 0.01), (12.0, 0.02), (20.0, 0.03), (60.0, 0.02)):
        time = np.linspace(-exposure / 2, exposure / 2, 2001)
        start = np.linspace(0.0, 1.0 / frequency, 2001)
        place = 2.5 * np.sin(2 * np.pi * frequency * (start[:, None] + time))
        longest = np.ptp(place, axis=1).max()
        assert wobble.vibration_blur(frequency, 5.0, exposure) == pytest.approx(longest, rel=1e-4)


def test_steady_blur():
    assert wobble.blur_length([300.0, 400.0], 0.02) == pytest.approx(10.0)
    assert wobble.blur_length(np.zeros((4, 2)), 0.02).tolist() == [0.0] * 4


def test_one_wobble_at_several_frame_rates():
    found = wobble.seen_wobble(
        30.0, 2.0, frame_rate=[24.0, 50.0, 100.0], shutter_angle=np.pi, playback_rate=24.0
    )
    assert found.frequency == pytest.approx([6.0, 9.6, 7.2])
    assert found.aliased.tolist() == [True, True, False]
    cycles = np.array([30 / 48, 0.3, 0.15])
    assert found.extent == pytest.approx(2.0 * np.sin(np.pi * cycles) / (np.pi * cycles))
    assert found.blur == pytest.approx([2.0, 2.0 * np.sin(0.3 * np.pi), 2.0 * np.sin(0.15 * np.pi)])


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: wobble.peak_to_peak(np.zeros((0, 2))), "given no places"),
        (lambda: wobble.peak_to_peak(np.zeros(2)), r"wanted \(..., n, 2\)"),
        (lambda: wobble.seen_frequency(-1.0, 25.0), "natural_frequency: given -1 Hz"),
        (lambda: wobble.seen_frequency(1.0, 0.0), "frame_rate: given 0 1/s"),
        (lambda: wobble.seen_frequency(1.0, 25.0, np.inf), "playback_rate: given inf 1/s"),
        (lambda: wobble.lookalike_frequencies(13.0, 50.0, 25.0, highest=99.0), "nothing faster than 12.5 Hz"),
        (lambda: wobble.lookalike_frequencies(1.0, 50.0, highest=1e9), "highest: given 1e.09 Hz"),
        (lambda: wobble.lookalike_frequencies(1.0, 50.0, highest=0.0), "highest: given 0 Hz"),
        (lambda: wobble.exposure_time(7.0, 25.0), "shutter_angle: given 7 rad"),
        (lambda: wobble.exposure_time(0.0, 25.0), "shutter_angle: given 0 rad"),
        (lambda: wobble.blur_length([1.0, 2.0], -1.0), "exposure: given -1 s"),
        (lambda: wobble.vibration_blur(1.0, np.nan, 0.1), "extent: given nan px"),
    ],
)
def test_errors(call, says):
    with pytest.raises(ArgumentError, match=says):
        call()
