"""Batched linear algebra against LAPACK through scipy, one matrix at a time."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg

from rigcheck.mechanics.batches import (
    cross,
    definite,
    inverse_factor,
    largest_pairs,
    pairs_of,
    runs_of,
    solved,
    uncoupled,
)


def definite_matrices(size: int, count: int = 5, seed: int = 0) -> np.ndarray:
    root = np.random.default_rng(seed).normal(size=(count, size, size))
    return root @ root.transpose(0, 2, 1) + 0.1 * np.eye(size)


@pytest.mark.parametrize("size", [1, 2, 16, 17, 33, 46])
def test_inverse_factor_is_that_of_cholesky(size):
    matrices = definite_matrices(size)
    inverse = inverse_factor(matrices)
    for matrix, found in zip(matrices, inverse, strict=True):
        lower = scipy.linalg.cholesky(matrix, lower=True)
        # Condition of the factor is about 1e2, of rounding 1e-16.
        np.testing.assert_allclose(found @ lower, np.eye(size), atol=1e-11)
        np.testing.assert_allclose(np.triu(found, 1), 0, atol=1e-11)


@pytest.mark.parametrize("size", [1, 5, 40])
def test_a_matrix_that_is_not_definite_has_no_factor(size):
    matrices = definite_matrices(size)
    matrices[3, -1, -1] = -1.0
    np.testing.assert_array_equal(definite(matrices), [True, True, True, False, True])
    with pytest.raises(np.linalg.LinAlgError):
        inverse_factor(matrices)


@pytest.mark.parametrize("hint", ["right", "wrong", "none"])
def test_which_of_many_are_definite(hint):
    matrices = definite_matrices(7, count=90, seed=3)
    low = np.linalg.eigvalsh(matrices)[:, 0]
    matrices[::3] -= 2 * low[::3, None, None] * np.eye(7)
    least = np.linalg.eigvalsh(matrices)[:, 0]
    room = {"right": least, "wrong": np.random.default_rng(0).normal(size=90), "none": None}[hint]
    found = definite(matrices, room)
    np.testing.assert_array_equal(found, least > 0)
    assert 0 < found.sum() < 90


def test_pairs_solve_the_problem_with_a_singular_mass():
    stiffness, mass = definite_matrices(6), definite_matrices(6, seed=1)
    mass[:, -2:], mass[:, :, -2:] = 0.0, 0.0
    values, shapes = pairs_of(stiffness, mass)
    for k, m, found, shape in zip(stiffness, mass, values, shapes, strict=True):
        np.testing.assert_allclose(
            found, scipy.linalg.eigh(m, k, eigvals_only=True)[::-1], atol=1e-12 * found[0]
        )
        np.testing.assert_allclose(shape.T @ k @ shape, np.eye(6), atol=1e-11)
        np.testing.assert_allclose(m @ shape, k @ shape * found, atol=1e-11 * found[0] * np.abs(k).max())


def test_uncoupled_groups_are_found_through_chains():
    matrices = np.tile(np.eye(7), (3, 1, 1))
    # 0-4-2 only as a chain through two matrices, 1-6 in one variant alone.
    matrices[:, 0, 4] = matrices[:, 4, 0] = 0.1
    matrices[1, 1, 6] = matrices[1, 6, 1] = 1e-6
    other = np.zeros_like(matrices)
    other[:, 4, 2] = other[:, 2, 4] = 1e-9
    groups = [group.tolist() for group in uncoupled(matrices, other)]
    assert groups == [[0, 2, 4], [1, 6], [3], [5]]


def test_rounding_couples_nothing():
    matrices = np.tile(np.diag([1.0, 1e6]), (2, 1, 1))
    matrices[:, 0, 1] = matrices[:, 1, 0] = 1e-14  # 1e-17 of sqrt(1 * 1e6)
    assert len(uncoupled(matrices)) == 2
    matrices[0, 0, 1] = matrices[0, 1, 0] = 1e-9
    assert len(uncoupled(matrices)) == 1


@pytest.mark.parametrize("repeated", [False, True])
def test_largest_pairs_of_a_large_matrix(repeated):
    # A spectrum that falls as that of a beam does; repeated in pairs as that of a round wire.
    rng = np.random.default_rng(2)
    size, count = 90, 4
    values = 1.0 / np.arange(1, size + 1) ** 4.0
    if repeated:
        values[1::2] = values[::2]
    turns = np.linalg.qr(rng.normal(size=(3, size, size))).Q
    matrices = turns * values @ turns.transpose(0, 2, 1)
    found, vectors = largest_pairs(matrices, count)
    # To rounding of the largest.
    np.testing.assert_allclose(found, np.broadcast_to(values[:count], found.shape), atol=1e-13)
    np.testing.assert_allclose(matrices @ vectors, vectors * found[:, None], atol=1e-10)


def test_largest_pairs_of_a_spectrum_that_hardly_falls_go_to_lapack():
    rng = np.random.default_rng(3)
    size, count = 60, 3
    values = 1 - 1e-4 * np.arange(size)
    turns = np.linalg.qr(rng.normal(size=(2, size, size))).Q
    matrices = turns * values @ turns.transpose(0, 2, 1)
    found, vectors = largest_pairs(matrices, count)
    np.testing.assert_allclose(found, np.broadcast_to(values[:count], found.shape), atol=1e-13)
    np.testing.assert_allclose(matrices @ vectors, vectors * found[:, None], atol=1e-12)


def test_runs_join_places_that_follow():
    whole = np.zeros(9)
    block = np.arange(1.0, 7.0)
    places = (4, 5, 6, 0, 8, 8)
    runs = runs_of(places)
    assert len(runs) == 4
    for part, to in runs:
        whole[to] += block[part]
    expected = np.zeros(9)
    np.add.at(expected, np.array(places), block)
    np.testing.assert_array_equal(whole, expected)


@pytest.mark.parametrize("shapes", [((3,), (3,)), ((4, 3), (3,)), ((2, 1, 3), (5, 3)), ((0, 3), (0, 3))])
def test_cross_products_are_those_of_numpy(shapes):
    rng = np.random.default_rng(2)
    first, second = (rng.normal(size=shape) for shape in shapes)
    np.testing.assert_allclose(cross(first, second), np.cross(first, second), rtol=1e-14, atol=1e-15)


def test_a_singular_system_leaves_the_others_alone():
    matrices, right = definite_matrices(4, count=6).reshape(3, 2, 4, 4), np.ones((3, 2, 4, 1))
    whole = solved(matrices, right)
    np.testing.assert_allclose(matrices @ whole, right, atol=1e-10)
    matrices[1, 0] = 0.0
    found = solved(matrices, right)
    assert np.isnan(found[1]).all()
    np.testing.assert_array_equal(found[[0, 2]], whole[[0, 2]])
