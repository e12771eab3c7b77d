"""Lanczos' method in blocks, against LAPACK on the whole matrices."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg

from rigcheck.mechanics.lanczos import motion_of, reached, those_that_count


def matrices(size, seed=0, batch=3):
    rng = np.random.default_rng(seed)
    basis = np.linalg.qr(rng.normal(size=(batch, size, size))).Q
    stiff = basis @ (np.geomspace(1, 1e6, size)[:, None] * basis.transpose(0, 2, 1))
    heavy = rng.normal(size=(batch, size, size))
    return stiff, heavy @ heavy.transpose(0, 2, 1)


def test_shapes_are_orthonormal_and_hold_the_largest_values():
    basis, _ = np.linalg.qr(matrices(30)[0])
    heavy = basis @ (np.geomspace(1, 1e-8, 30)[:, None] * basis.transpose(0, 2, 1))
    start = np.random.default_rng(1).normal(size=(3, 30, 3))
    space, reduced = reached(lambda block: heavy @ block, start, 7)
    np.testing.assert_allclose(space.transpose(0, 2, 1) @ space, np.eye(24)[None].repeat(3, 0), atol=1e-13)
    found, whole = np.linalg.eigvalsh(reduced), np.linalg.eigvalsh(heavy)
    np.testing.assert_allclose(found[:, -3:], whole[:, -3:], rtol=1e-9)


def test_a_space_that_is_exhausted_adds_nothing():
    """Columns that depend on each other, and more steps than there are freedoms: no invented values."""
    _, heavy = matrices(6)
    start = np.random.default_rng(1).normal(size=(3, 6, 2))
    start = np.concatenate([start, start[:, :, :1] + 1e-13, np.zeros((3, 6, 1))], axis=2)
    space, reduced = reached(lambda block: heavy @ block, start, 5)
    np.testing.assert_allclose(space.transpose(0, 2, 1) @ space, np.eye(6)[None].repeat(3, 0), atol=1e-13)
    np.testing.assert_allclose(np.linalg.eigvalsh(reduced), np.linalg.eigvalsh(heavy), rtol=1e-9)


def test_motion_of_a_whole_frame_as_scipy_finds_it():
    stiff, heavy = matrices(18, seed=4)
    loads = heavy[:, :, :3]
    found = motion_of(stiff, heavy, loads, prop=6, least_share=0.0, steps=2)
    for index in range(3):
        exact, shapes = scipy.linalg.eigh(stiff[index], heavy[index])
        np.testing.assert_allclose(found.angular_frequency[index] ** 2, exact, rtol=1e-7)
        drive = shapes.T @ loads[index]
        np.testing.assert_allclose(
            np.abs(found.participation[index, :6]), np.abs(drive[:6]), rtol=1e-6, atol=1e-9
        )
    np.testing.assert_allclose(found.follow, np.linalg.solve(stiff, loads), rtol=1e-7, atol=1e-12)


def test_freedoms_inside_elements_change_nothing():
    """Three groups that touch only the first eight freedoms, as inside elements, against the whole as it is."""
    stiff, heavy = matrices(26, seed=6)
    apart = np.zeros((26, 26), dtype=bool)
    inside = [np.arange(8, 14), np.arange(14, 20), np.arange(20, 26)]
    for own in inside:
        apart[own[0] :, own] = apart[own, own[0] :] = True
        apart[own[:, None], own] = False
    stiff, heavy = (np.where(apart, 0.0, matrix) + 30 * np.eye(26) for matrix in (stiff / 1e6, heavy))
    assert np.linalg.eigvalsh(np.concatenate([stiff, heavy])).min() > 0
    loads = heavy[:, :, :3]
    kinds = {"prop": 6, "least_share": 0.0, "steps": 3}
    one = motion_of(stiff, heavy, loads, **kinds)
    other = motion_of(stiff, heavy, loads, **kinds, inside=inside)
    np.testing.assert_allclose(other.angular_frequency[:, :20], one.angular_frequency[:, :20], rtol=1e-9)
    np.testing.assert_allclose(other.follow, one.follow, rtol=1e-9, atol=1e-12)
    signs = np.sign(np.sum(one.shape * other.shape, axis=1))[:, None, :20]
    np.testing.assert_allclose(signs * other.shape[:, :, :20], one.shape[:, :, :20], atol=1e-7)


@pytest.mark.parametrize("least_share", [0.0, 2e-3])
def test_modes_that_hardly_move_the_prop_are_left_out_but_the_lowest(least_share):
    value = np.array([[4.0, 1.0, 2.0], [4.0, 1.0, 2.0]])
    moved = np.ones((2, 3, 3)) * np.array([[0.0, 1.0, 1e-3], [1.0, 1.0, 1.0]])[:, None]
    force = np.ones((2, 3, 1))
    places, valid = those_that_count(value, moved, force, least_share)
    if least_share == 0.0:
        assert places.tolist() == [[0, 2, 1], [0, 2, 1]]
    else:
        # The lowest (largest value) stays, for all it does not move the prop.
        assert places.tolist() == [[0, 1, 1], [0, 2, 1]]
        assert valid.tolist() == [[True, True, False], [True, True, True]]


@pytest.mark.parametrize("unit", [1e-9, 1.0, 1e9])
def test_a_mode_without_mass_counts_for_nothing_in_any_unit(unit):
    """omega^-2 of 1e-15 of the largest is rounding, of 1e-13 it is a mode; all move the prop alike."""
    value = unit * np.array([[1.0, 1e-13, 1e-15]])
    places, valid = those_that_count(value, np.ones((1, 3, 3)), np.ones((1, 3, 1)), 0.5)
    assert places[valid].tolist() == [0, 1]
