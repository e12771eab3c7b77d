"""Lanczos' method in blocks, against LAPACK on the whole matrices."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg

from rigcheck.mechanics.lanczos import Arrow, Blocks, least, motion_of, reached, those_that_count


def matrices(size, seed=0, batch=3):
    rng = np.random.default_rng(seed)
    basis = np.linalg.qr(rng.normal(size=(batch, size, size))).Q
    stiff = basis @ (np.geomspace(1, 1e6, size)[:, None] * basis.transpose(0, 2, 1))
    heavy = rng.normal(size=(batch, size, size))
    return stiff, heavy @ heavy.transpose(0, 2, 1)


def arrow(matrix, nodes=None):
    """The matrix with its first freedoms as nodes, and the others as the inside of one field."""
    size = matrix.shape[1]
    nodes = size if nodes is None else nodes
    inside = Blocks(
        sides=matrix[:, :nodes, None, nodes:],
        inner=matrix[:, None, nodes:, nodes:],
        roots=np.ones((len(matrix), 1, size - nodes)),
        places=np.arange(nodes, size)[None],
    )
    return Arrow(nodes=matrix[:, :nodes, :nodes], fields=[] if nodes == size else [inside])


def whole(space, count):
    """The vectors of `reached` in all freedoms."""
    size = count + space.shape[1]
    result = np.zeros((len(space), size, count + space.shape[2]))
    result[:, range(count), range(count)] = 1
    result[:, count:, count:] = space
    return result


@pytest.mark.parametrize("nodes", [30, 9])
@pytest.mark.parametrize("steps", [1, 2, 5, 7])
def test_shapes_are_orthonormal_and_span_what_the_matrix_makes_of_the_first(nodes, steps):
    basis, _ = np.linalg.qr(matrices(30)[0])
    heavy = basis @ (np.geomspace(1, 1e-4, 30)[:, None] * basis.transpose(0, 2, 1))
    if nodes < 30:
        heavy = np.linalg.qr(heavy).Q @ heavy @ np.linalg.qr(heavy).Q.transpose(0, 2, 1)
    space, reduced = reached(arrow(heavy, nodes), 3, steps)
    vectors = whole(space, 3)
    count = 3 * (steps + 1)
    np.testing.assert_allclose(
        vectors.transpose(0, 2, 1) @ vectors, np.eye(count)[None].repeat(3, 0), atol=1e-13
    )
    np.testing.assert_allclose(reduced, vectors.transpose(0, 2, 1) @ heavy @ vectors, atol=1e-13)
    made = heavy[:, :, :3]
    for _ in range(steps):
        unit = made / np.linalg.norm(made, axis=1, keepdims=True)
        np.testing.assert_allclose(vectors @ (vectors.transpose(0, 2, 1) @ unit), unit, atol=1e-9)
        made = heavy @ made


def test_the_largest_values_come_out_first():
    basis, _ = np.linalg.qr(matrices(30)[0])
    heavy = basis @ (np.geomspace(1, 1e-8, 30)[:, None] * basis.transpose(0, 2, 1))
    _, reduced = reached(arrow(heavy), 3, 7)
    found, exact = np.linalg.eigvalsh(reduced), np.linalg.eigvalsh(heavy)
    np.testing.assert_allclose(found[:, -3:], exact[:, -3:], rtol=1e-9)


def test_a_space_that_is_exhausted_adds_nothing():
    """Vectors that depend on each other, and more steps than there are freedoms: no invented values."""
    _, heavy = matrices(6)
    more = np.random.default_rng(1).normal(size=(3, 4, 1))
    more = np.concatenate([more, more + 1e-13, np.zeros((3, 4, 1))], axis=2)
    space, reduced = reached(arrow(heavy), 2, 5, more)
    vectors = whole(space, 2)
    np.testing.assert_allclose(vectors.transpose(0, 2, 1) @ vectors, np.eye(6)[None].repeat(3, 0), atol=1e-13)
    np.testing.assert_allclose(np.linalg.eigvalsh(reduced), np.linalg.eigvalsh(heavy), rtol=1e-9)


def test_steps_that_bring_nothing_new_invent_no_values():
    """A matrix that couples the first freedoms with one vector only: the rest of the space is filled anyhow."""
    heavy = np.zeros((3, 20, 20))
    heavy[:, range(20), range(20)] = np.geomspace(1, 1e-3, 20)
    heavy[:, 0, 5] = heavy[:, 5, 0] = heavy[:, 1, 5] = heavy[:, 5, 1] = 0.01
    space, reduced = reached(arrow(heavy), 2, 3)
    vectors = whole(space, 2)
    np.testing.assert_allclose(vectors.transpose(0, 2, 1) @ vectors, np.eye(8)[None].repeat(3, 0), atol=1e-13)
    found, exact = np.linalg.eigvalsh(reduced), np.linalg.eigvalsh(heavy)
    np.testing.assert_allclose(found[:, -2:], exact[:, -2:], rtol=1e-12)
    assert np.all(found <= exact[:, -1:] * (1 + 1e-12))


@pytest.mark.parametrize("started", [0, 1])
def test_least_goes_on_until_it_stands_still_for_each_variant(started):
    """Where two values lie close below zero, two steps do not tell them apart: more are taken for that variant."""
    rng = np.random.default_rng(3)
    values = np.array([[-0.3, -0.29], [-0.3, -0.05], [-0.3, -0.28], [-0.3, -0.01]])
    values = np.concatenate([values, np.broadcast_to(np.geomspace(1, 1e-3, 38), (4, 38))], axis=1)
    basis = np.linalg.qr(rng.normal(size=(4, 40, 40))).Q
    heavy = basis @ (values[:, :, None] * basis.transpose(0, 2, 1))
    more = rng.normal(size=(4, 37, started))
    sought = np.ones(4, dtype=bool)
    found = least(arrow(heavy, 9), 3, more, sought)
    np.testing.assert_allclose(found, values[:, 0], rtol=2e-3)
    assert np.all(found >= values[:, 0] - 1e-12)
    two_steps = np.linalg.eigvalsh(reached(arrow(heavy, 9), 3, 2, more)[1])[:, 0]
    assert np.any(found < two_steps * (1 + 1e-3))
    alone = [least(arrow(heavy[[row]], 9), 3, more[[row]], sought[:1])[0] for row in range(4)]
    np.testing.assert_allclose(found, alone, rtol=1e-10)


@pytest.mark.parametrize("second", [-0.299999, -0.29, -0.1, 0.0])
def test_least_keeps_its_promise_whatever_comes_next(second):
    """Two steps are enough for some, and more are taken where values lie close together: all within a thousandth."""
    rng = np.random.default_rng(8)
    values = np.concatenate([[-0.3, second], np.geomspace(1, 1e-3, 38)])
    basis = np.linalg.qr(rng.normal(size=(40, 40, 40))).Q
    heavy = basis @ (values[:, None] * basis.transpose(0, 2, 1))
    found = least(arrow(heavy, 9), 4, np.zeros((40, 36, 0)), np.ones(40, dtype=bool))
    assert np.all(found >= -0.3 - 1e-12)
    np.testing.assert_allclose(found, -0.3, rtol=1e-3)


def test_least_looks_a_step_further_where_a_negative_value_is_expected():
    """A chain of couplings that reaches what is below zero with the third step only."""
    heavy = np.zeros((2, 30, 30))
    heavy[:, range(30), range(30)] = 1.0
    for place in range(3):
        heavy[:, place, place + 1] = heavy[:, place + 1, place] = 0.1
    heavy[:, 3, 3] = -0.5
    found = least(arrow(heavy), 1, np.zeros((2, 29, 0)), np.array([True, False]))
    assert found[0] == pytest.approx(np.linalg.eigvalsh(heavy)[0, 0], rel=1e-3)
    assert found[1] > 0


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
