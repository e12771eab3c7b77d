"""Distances along a path, and when it is still."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import pdist

from rigcheck.errors import ArgumentError
from rigcheck.motion.distance_measures import (
    peak_distance,
    peak_to_peak_distance,
    settle_time_modal,
)


def _vibration(seed, batch, modes, samples_per_period):
    rng = np.random.default_rng(seed)
    omega = rng.uniform(1, 7, (batch, modes))
    omega[:, 0] = 1.0
    size = rng.normal(size=(batch, modes, 3))
    phase = rng.uniform(0, 2 * np.pi, (batch, modes))

    def at(count):
        t = np.linspace(0, 4 * np.pi, count)
        swing = np.exp(-0.003 * omega[..., None] * t) * np.cos(omega[..., None] * t + phase[..., None])
        return np.einsum("bmk,bmn->bkn", size, swing)

    count = int(2 * samples_per_period * omega.max())
    return at(count), at


@given(seed=st.integers(0, 10_000), modes=st.integers(1, 6))
@settings(max_examples=40, deadline=None)
def test_diameter_of_the_samples_is_the_one_a_library_finds(seed, modes):
    paths, _ = _vibration(seed, 3, modes, 20)
    found = peak_to_peak_distance(paths, refine=False)
    assert found == pytest.approx([pdist(path.T).max() for path in paths], rel=1e-13)


def test_diameter_of_shells_where_the_first_guess_is_often_wrong():
    rng = np.random.default_rng(12)
    shells = rng.normal(size=(600, 3, 30))
    shells *= rng.uniform(0.97, 1.0, (600, 1, 30)) / np.linalg.norm(shells, axis=1, keepdims=True)
    expected = np.array([pdist(shell.T).max() for shell in shells])
    quick = peak_to_peak_distance(shells, exact=False, refine=False)
    assert np.mean(quick < expected * (1 - 1e-12)) > 0.2  # these are hard
    assert peak_to_peak_distance(shells, refine=False) == pytest.approx(expected, rel=1e-13)


@pytest.mark.parametrize(
    "points",
    [
        np.random.default_rng(0).normal(size=(3, 800)),  # a cloud
        np.stack(
            [np.cos(np.linspace(0, 6.28, 700)), np.sin(np.linspace(0, 6.28, 700)), np.zeros(700)]
        ),  # a circle
        np.array([[0.0, 1.0, 0.5], [0.0, 0.0, 3**0.5 / 2], [0.0, 0.0, 0.0]]),  # an even triangle
        np.zeros((3, 5)),
        np.ones((3, 1)),
        np.array([[0.0, 3.0], [0.0, 4.0]]),  # in a plane
    ],
)
def test_awkward_shapes(points):
    expected = pdist(points.T).max() if points.shape[1] > 1 else 0.0
    assert float(peak_to_peak_distance(points, refine=False)) == pytest.approx(expected, rel=1e-13, abs=1e-15)


def test_where_the_path_lies_does_not_matter():
    """A billion times its width off, the places themselves are rounded to 1e-7, and nothing is lost besides."""
    clouds = np.random.default_rng(7).normal(size=(20, 3, 200)) + 1e9
    expected = [pdist(cloud.T).max() for cloud in clouds]
    assert peak_to_peak_distance(clouds, refine=False) == pytest.approx(expected, rel=1e-13)


def test_looking_between_samples_reaches_one_part_in_ten_thousand():
    coarse, at = _vibration(3, 40, 3, 48)
    fine = at(5 * coarse.shape[2])  # its own error: 48 * 5 a period, 7e-8
    exact_width, exact_peak = peak_to_peak_distance(fine), peak_distance(fine)
    assert peak_to_peak_distance(coarse) == pytest.approx(exact_width, rel=1e-4)
    assert peak_distance(coarse) == pytest.approx(exact_peak, rel=1e-4)
    assert (
        np.abs(peak_distance(coarse, refine=False) / exact_peak - 1).max() > 1e-4
    )  # it is the parabola that does


def test_quick_way_only_misses_downwards_and_little():
    paths, _ = _vibration(8, 500, 6, 10)
    exact = peak_to_peak_distance(paths, refine=False)
    quick = peak_to_peak_distance(paths, exact=False, refine=False)
    assert (quick <= exact * (1 + 1e-14)).all()
    assert (quick >= 0.97 * exact).all()
    assert np.mean(quick < exact * (1 - 1e-9)) < 0.02


def test_sinusoid_on_a_line():
    t = np.arange(200) * 2 * np.pi / 48 + 0.37
    path = np.array([[3.0], [4.0], [0.0]]) * np.sin(t)
    assert float(peak_distance(path)) == pytest.approx(5.0, rel=4e-5)
    assert float(peak_to_peak_distance(path)) == pytest.approx(10.0, rel=4e-5)


def test_leading_axes_are_kept():
    paths = np.random.default_rng(1).normal(size=(2, 5, 3, 30))
    assert peak_distance(paths).shape == peak_to_peak_distance(paths).shape == (2, 5)


def test_single_mode_settles_when_its_formula_says():
    omega, zeta, swing = 20.0, 0.01, np.array([0.002, 0.001, 0.0])
    t = np.linspace(0, 60, 120_001)
    path = swing[:, None] * np.exp(-zeta * omega * t) * np.cos(omega * np.sqrt(1 - zeta**2) * t)
    limit = 1e-4
    # On a line the rest of the path is as wide as its two farthest places; the first that is narrow enough counts.
    along = np.linalg.norm(swing) * path[0, ::-1] / swing[0]
    width = (np.maximum.accumulate(along) - np.minimum.accumulate(along))[::-1]
    found = t[np.argmax(width <= limit)]
    # peak to peak from a crest at t0 is A e^(-..t0)(1 + x); the envelope rule is 2 A e^(-..t)
    envelope = np.log(2 * np.linalg.norm(swing) / limit) / (zeta * omega)
    assert envelope - np.pi / omega <= found <= envelope
    modal = settle_time_modal(swing[None], angular_frequency=omega, damping_ratio=zeta, threshold=limit)
    assert float(modal) == pytest.approx(envelope, rel=1e-12)


@given(
    swing=st.lists(st.floats(1e-6, 0.1), min_size=3, max_size=3),
    zeta=st.lists(st.floats(1e-4, 0.5), min_size=3, max_size=3),
    limit=st.floats(1e-7, 0.05),
)
def test_modal_settle_time_is_where_the_sum_meets_the_threshold(swing, zeta, limit):
    omega = np.array([10.0, 60.0, 300.0])
    vectors = np.array(swing)[:, None] * np.array([0.6, 0.0, 0.8])
    t = float(settle_time_modal(vectors, angular_frequency=omega, damping_ratio=zeta, threshold=limit))

    def total(t):
        return (2 * np.array(swing) * np.exp(-np.array(zeta) * omega * t)).sum()

    if t == 0.0:
        assert total(0.0) <= limit * (1 + 1e-12)
    else:
        assert total(t) == pytest.approx(limit, rel=1e-9)


def test_modal_settle_time_in_batches_and_without_damping():
    vectors = np.zeros((4, 2, 3))
    vectors[:, 0, 0] = [0.0, 1e-3, 1e-3, 1e-6]
    vectors[:, 1, 1] = 1e-4
    zeta = np.array([[0.01, 0.01], [0.0, 0.01], [0.01, 0.01], [0.0, 0.01]])
    t = settle_time_modal(vectors, angular_frequency=[10.0, 50.0], damping_ratio=zeta, threshold=1e-5)
    assert t.shape == (4,)
    assert t[0] == pytest.approx(np.log(20) / 0.5, rel=1e-12)
    assert t[1] == np.inf  # the undamped mode alone is too much
    assert t[3] == pytest.approx(np.log(2e-4 / (1e-5 - 2e-6)) / 0.5, rel=1e-12)
    limits = settle_time_modal(
        vectors[2], angular_frequency=[10.0, 50.0], damping_ratio=0.01, threshold=[1e-5, 1.0]
    )
    assert limits == pytest.approx([t[2], 0.0], rel=1e-12)


def test_ring_down_table_of_cycles():
    """Cycles to 5 % are ln(20)/(2 pi zeta) (derived here): 477 at 0.001, 159 at 0.003, 48 at 0.01."""
    for zeta, cycles in ((0.001, 477), (0.003, 159), (0.005, 95), (0.01, 48), (0.02, 24)):
        t = settle_time_modal([[1.0, 0, 0]], angular_frequency=2 * np.pi, damping_ratio=zeta, threshold=0.1)
        assert round(float(t)) == cycles


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: peak_distance([1.0, 2.0]), r"points: given shape \(2,\); wanted \(\.\.\., 3, n\)"),
        (lambda: peak_to_peak_distance(np.full((3, 2), np.nan)), "points: not all are finite"),
        (
            lambda: settle_time_modal([0.0], angular_frequency=1, damping_ratio=0, threshold=1),
            r"wanted \(\.\.\., m, 3\)",
        ),
        (
            lambda: settle_time_modal([[0.0, 0, 0]], angular_frequency=1, damping_ratio=0, threshold=0),
            "threshold: given 0 m",
        ),
    ],
)
def test_bad_arguments_are_named(call, message):
    with pytest.raises(ArgumentError, match=message):
        call()


@pytest.mark.parametrize("scale", [1e-300, 1e-160, 1e160, 1e300])
def test_distances_whose_squares_no_number_holds(scale):
    paths, _ = _vibration(5, 4, 3, 48)
    sizes = np.array([1.0, scale, 1.0, scale])  # paths of both kinds side by side
    for measure in (peak_distance, peak_to_peak_distance):
        found = measure(paths * sizes[:, None, None])
        assert found == pytest.approx(measure(paths) * sizes, rel=1e-12)
    assert peak_distance(np.zeros((3, 5))) == 0.0


def test_a_path_along_a_line_is_as_wide_as_the_same_in_space():
    rng = np.random.default_rng(5)
    along = np.cumsum(rng.normal(size=(40, 300)), axis=1)
    direction = np.array([2.0, -3.0, 6.0]) / 7.0
    for refine in (True, False):
        on_a_line = peak_to_peak_distance(along[:, None], refine=refine)
        in_space = peak_to_peak_distance(direction[:, None] * along[:, None], refine=refine)
        np.testing.assert_allclose(on_a_line, in_space, rtol=1e-12)
    assert float(peak_to_peak_distance(np.array([[3.0]]))) == 0.0
    assert float(peak_to_peak_distance(np.array([[3.0, -1.0]]))) == 4.0
