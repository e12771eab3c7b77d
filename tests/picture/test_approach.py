"""Closest approach: closed forms, scipy's constrained minimum, separating axes, invariances."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from rigcheck.errors import ArgumentError, NotConvergedError
from rigcheck.picture import gjk
from rigcheck.picture.approach import closest_approach
from rigcheck.picture.solids import Solid

SHAPES = ("box", "cylinder", "disc", "sphere")


def random_solid(shape, rng, centre):
    return Solid(
        shape=shape,
        size=rng.uniform(0.01, 0.1, 3),
        centre=centre,
        orientation=Rotation.random(random_state=int(rng.integers(1 << 30))).as_matrix(),
    )


def minimised_distance(first, second):
    """The same distance as a convex programme in the two points' body coordinates, by scipy (SLSQP)."""

    def inside(solid):
        if solid.shape == "box":
            return lambda u: np.concatenate([1 - u, 1 + u])
        if solid.shape == "sphere":
            return lambda u: np.array([1 - u @ u])
        across = list(solid.across)
        return lambda u: np.array(
            [1 - u[across] @ u[across], 1 - u[solid.round_axis], 1 + u[solid.round_axis]]
        )

    def apart(x):
        p = first.orientation @ (x[:3] * first.half_size) + first.centre
        q = second.orientation @ (x[3:] * second.half_size) + second.centre
        return ((p - q) @ (p - q)) * 100.0

    rules = [
        {"type": "ineq", "fun": lambda x: inside(first)(x[:3])},
        {"type": "ineq", "fun": lambda x: inside(second)(x[3:])},
    ]
    found = minimize(
        apart, np.full(6, 0.1), method="SLSQP", constraints=rules, options={"ftol": 1e-14, "maxiter": 300}
    )
    return np.sqrt(max(found.fun, 0.0) / 100.0)


@pytest.mark.parametrize("second", SHAPES)
@pytest.mark.parametrize("first", SHAPES)
def test_gap_against_a_constrained_minimum(first, second):
    """The minimiser stops at 1e-14 of the squared distance in 10 cm: some 1e-8 m where the bodies touch."""
    rng = np.random.default_rng(SHAPES.index(first) * 4 + SHAPES.index(second))
    for _ in range(4):
        one = random_solid(first, rng, rng.uniform(-0.05, 0.05, 3))
        two = random_solid(second, rng, rng.uniform([0.04, -0.02, -0.05], [0.14, 0.08, 0.05]))
        found = closest_approach(one, two)
        assert found.least_gap == pytest.approx(minimised_distance(one, two), abs=1e-7)
        assert found.accuracy.max() < 1e-9
        distance = np.linalg.norm(found.first_point - found.second_point)
        if not found.touches:
            assert distance == pytest.approx(found.least_gap, abs=1e-12)


def test_spheres_are_exact():
    centre = np.linspace(-0.5, 0.5, 101)[:, None] * [1.0, 0.0, 0.0] + [0.0, 0.03, 0.0]
    one = Solid(shape="sphere", size=[0.1, 0.1, 0.1], centre=centre)
    two = Solid(shape="sphere", size=[0.06, 0.06, 0.06])
    found = closest_approach(one, two)
    between = np.linalg.norm(centre, axis=1)
    assert found.gap == pytest.approx(np.maximum(between - 0.08, 0.0), abs=1e-15)
    assert found.depth == pytest.approx(np.maximum(0.08 - between, 0.0), abs=1e-15)
    assert found.index == 50
    assert found.touches
    assert found.clearance == pytest.approx(-0.05, abs=1e-15)


def test_parallel_boxes_are_exact():
    """Gap: the root of the squares of the gaps along the axes. Depth: the least overlap of the three."""
    rng = np.random.default_rng(1)
    centre = rng.uniform(-0.3, 0.3, (400, 3))
    one, two = np.array([0.1, 0.2, 0.05]), np.array([0.08, 0.04, 0.3])
    apart = np.abs(centre) - (one + two) / 2
    found = closest_approach(Solid(shape="box", size=one), Solid(shape="box", size=two, centre=centre))
    assert found.gap == pytest.approx(np.linalg.norm(np.maximum(apart, 0.0), axis=1), abs=1e-12)
    assert found.depth == pytest.approx(np.maximum(-apart.max(axis=1), 0.0), abs=1e-12)
    assert found.touches == (apart.max(axis=1) <= 0).any()


def test_depth_of_turned_boxes_is_that_of_the_separating_axes():
    """For two boxes the shortest shift is along one of 15 axes: faces and crossed edges (separating axes)."""
    for seed in range(20):
        rng = np.random.default_rng(seed)
        one, two = (random_solid("box", rng, rng.uniform(-0.02, 0.02, 3)) for _ in range(2))
        found = closest_approach(one, two)
        axes = [*one.orientation.T, *two.orientation.T]
        axes += [np.cross(a, b) for a in one.orientation.T for b in two.orientation.T]
        least = np.inf
        for axis in axes:
            n = axis / np.linalg.norm(axis)
            reach = sum(np.abs(s.orientation.T @ n) @ s.half_size for s in (one, two))
            least = min(least, reach - abs(n @ (one.centre - two.centre)))
        if least > 0:
            assert found.depth == pytest.approx(least, abs=1e-12)
        else:
            assert found.gap > 0.0


@pytest.mark.parametrize("shapes", [("cylinder", "cylinder"), ("disc", "box"), ("sphere", "cylinder")])
def test_depth_of_round_solids_against_a_thorough_search(shapes):
    """Against 20,000 directions, the best three refined by scipy (Nelder-Mead); 2 % is what is promised."""
    ways = np.random.default_rng(0).normal(size=(20_000, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    for seed in range(3):
        rng = np.random.default_rng(seed)
        one, two = (random_solid(shape, rng, rng.uniform(-0.01, 0.01, 3)) for shape in shapes)

        def reach(u, one=one, two=two):
            u = u / np.linalg.norm(u, axis=-1, keepdims=True)
            return ((one.farthest_point(u) - two.farthest_point(-u)) * u).sum(axis=-1)

        spread = reach(ways)
        starts = ways[np.argsort(spread)[:3]]
        settings = {"xatol": 1e-9, "fatol": 1e-13}
        least = min(minimize(reach, start, method="Nelder-Mead", options=settings).fun for start in starts)
        assert least > 0.0
        found = closest_approach(one, two)
        assert least * (1 - 1e-6) <= found.depth[0] <= least * 1.03


def test_ball_on_a_box_and_inside_it():
    box = Solid(shape="box", size=[0.2, 0.2, 0.2])
    ball = Solid(shape="sphere", size=[0.04] * 3, centre=[[0.15, 0, 0], [0.11, 0, 0], [0.05, 0, 0]])
    found = closest_approach(box, ball)
    assert found.gap == pytest.approx([0.03, 0.0, 0.0], abs=1e-12)
    assert found.depth == pytest.approx([0.0, 0.01, 0.07], abs=1e-12)


def test_margin_decides_the_time():
    """Equal boxes pass at 30 mm and at 20 mm; a margin of 15 mm at the first makes it the tighter one."""
    centre = np.array([[0.13, 0, 0], [0.3, 0, 0], [0.12, 0, 0]])
    one = Solid(shape="box", size=[0.1, 0.1, 0.1])
    two = Solid(shape="box", size=[0.1, 0.1, 0.1], centre=centre)
    bare = closest_approach(one, two)
    with_margin = closest_approach(one, two, margin=[0.015, 0.0, 0.0])
    assert bare.index == 2
    assert bare.clearance == pytest.approx(0.02, abs=1e-12)
    assert with_margin.index == 0
    assert with_margin.clearance == pytest.approx(0.015, abs=1e-12)
    assert with_margin.least_gap == pytest.approx(0.03, abs=1e-12)


def test_bound_between_the_times_holds_for_what_happens_there():
    """Coarse times miss the passing; the bound from them lies below the gap found with fine ones."""

    def move(count):
        t = np.linspace(0.0, 1.0, count)
        turn = Rotation.from_rotvec(np.outer(t, [0.0, 0.0, 2.5])).as_matrix()
        one = Solid(shape="box", size=[0.2, 0.02, 0.02], orientation=turn)
        two = Solid(
            shape="cylinder",
            size=[0.03, 0.05, 0.03],
            centre=np.stack([0.15 - 0.2 * t, 0.13 + 0 * t, 0 * t], -1),
        )
        return closest_approach(one, two)

    coarse, fine = move(9), move(2001)
    assert coarse.between < fine.clearance < coarse.clearance
    assert fine.between == pytest.approx(fine.clearance, abs=2e-4)
    assert fine.between <= fine.clearance


def test_bound_between_two_attitudes_of_a_bar():
    """A bar swings a quarter turn past a ball at 45 degrees: from the two ends only the turn can tell."""

    def swing(count, **options):
        turn = Rotation.from_rotvec(np.linspace(0.0, np.pi / 2, count)[:, None] * [0.0, 0.0, 1.0]).as_matrix()
        bar = Solid(shape="box", size=[0.2, 0.002, 0.002], orientation=turn)
        ball = Solid(shape="sphere", size=[0.01] * 3, centre=[0.07, 0.07, 0.0])
        return closest_approach(bar, ball, **options)

    ends, fine = swing(2), swing(101)
    assert not ends.touches
    assert fine.touches
    assert ends.between <= fine.clearance
    assert swing(2, margin=0.005).between == pytest.approx(ends.between - 0.005, abs=1e-12)
    assert swing(101, margin=0.005).clearance == pytest.approx(fine.clearance - 0.005, abs=1e-12)


def test_leading_axes_and_broadcast():
    rng = np.random.default_rng(0)
    one = Solid(shape="cylinder", size=[0.05, 0.1, 0.05], centre=rng.uniform(-0.3, 0.3, (2, 7, 3)))
    two = Solid(shape="box", size=[0.05, 0.1, 0.05])
    found = closest_approach(one, two)
    assert found.gap.shape == (2, 7)
    assert found.index.shape == found.least_gap.shape == found.between.shape == (2,)
    assert found.first_point.shape == (2, 3)
    assert found.least_gap == pytest.approx(found.gap[[0, 1], found.index])


@given(st.sampled_from(SHAPES), st.sampled_from(SHAPES), st.integers(0, 500))
def test_order_and_place_do_not_matter(first, second, seed):
    """Swapped, moved and turned together: the same gap, to the 1e-9 of the sizes that is promised twice."""
    rng = np.random.default_rng(seed)
    one = random_solid(first, rng, rng.uniform(-0.05, 0.05, 3))
    two = random_solid(second, rng, rng.uniform([0.07, -0.05, -0.05], [0.17, 0.05, 0.05]))
    turn, shift = Rotation.random(random_state=seed).as_matrix(), rng.uniform(-1, 1, 3)
    moved = [
        Solid(shape=s.shape, size=s.size, centre=turn @ s.centre + shift, orientation=turn @ s.orientation)
        for s in (one, two)
    ]
    gap = closest_approach(one, two).gap
    assert closest_approach(two, one).gap == pytest.approx(gap, abs=1e-9)
    assert closest_approach(*moved).gap == pytest.approx(gap, abs=1e-9)


def test_errors(monkeypatch):
    one = Solid(shape="box", size=[0.1, 0.1, 0.1], centre=np.zeros((2, 3)))
    two = Solid(shape="cylinder", size=[0.1, 0.1, 0.1], centre=np.full((3, 3), 0.3))
    with pytest.raises(ArgumentError, match="same times"):
        closest_approach(one, two)
    with pytest.raises(ArgumentError, match="margin: given -1 m"):
        closest_approach(two, two, margin=-1.0)
    with pytest.raises(ArgumentError, match="one for each time"):
        closest_approach(two, two, margin=[0.0, 0.1])
    monkeypatch.setattr(gjk, "_MOST_STEPS", 1)
    with pytest.raises(NotConvergedError, match="after 1 steps"):
        closest_approach(
            Solid(shape="box", size=[0.1] * 3, orientation=Rotation.random(random_state=0).as_matrix()), two
        )
