"""What shows of a support: closed forms, a ray-traced picture, invariances."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.picture.projection import Camera
from rigcheck.picture.shadow import hidden_stretch
from rigcheck.picture.solids import Solid
from rigcheck.picture.visibility import Band, surely_hidden, visible_area, visible_support

SHAPES = ("box", "cylinder", "disc", "sphere")
LEVEL = Camera(field_width=1.0, image_width=1000, image_height=600)  # 1 px is 1 mm


# -- a picture traced ray by ray, sharing nothing with the code under test -------------------------------


def slab(origin, way, low, high):
    """Distances along rays at which they enter and leave low <= coordinate <= high."""
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = (low - origin) / way, (high - origin) / way
    inside = (origin >= low) & (origin <= high)
    level = way == 0.0
    enter = np.where(level, np.where(inside, -np.inf, np.inf), np.minimum(a, b))
    leave = np.where(level, np.where(inside, np.inf, -np.inf), np.maximum(a, b))
    return enter, leave


def round_wall(origin, way):
    """Distances along rays at which they enter and leave the unit ball or circle."""
    a, b, c = (way**2).sum(-1), (origin * way).sum(-1), (origin**2).sum(-1) - 1.0
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(b * b - a * c)  # NaN where the ray misses
        enter = np.where(a > 0, (-b - root) / a, np.where(c <= 0, -np.inf, np.nan))
        leave = np.where(a > 0, (-b + root) / a, np.where(c <= 0, np.inf, np.nan))
    return enter, leave


def hit(shape, axis, half, origin, way):
    """Where rays, given in body axes, first meet a solid: infinite where they do not."""
    origin, way = origin / half, way / half
    if shape == "sphere":
        parts = [round_wall(origin, way)]
    elif shape == "box":
        parts = [slab(origin[..., k], way[..., k], -1.0, 1.0) for k in range(3)]
    else:
        others = [k for k in range(3) if k != axis]
        parts = [
            round_wall(origin[..., others], way[..., others]),
            slab(origin[..., axis], way[..., axis], -1, 1),
        ]
    enter = np.max([part[0] for part in parts], axis=0)  # NaN stays NaN and is never below the leaving
    leave = np.min([part[1] for part in parts], axis=0)
    with np.errstate(invalid="ignore"):
        return np.where(enter <= leave, enter, np.inf)


def hit_solid(solid, origin, way):
    turn = solid.orientation.reshape(3, 3)
    return hit(
        solid.shape, solid.round_axis, solid.half_size, (origin - solid.centre.reshape(3)) @ turn, way @ turn
    )


def hit_rod(points, diameter, origin, way):
    nearest = np.inf
    for a, b in pairwise(points):
        length = np.linalg.norm(b - a)
        turn = Rotation.align_vectors([(b - a) / length], [[0, 0, 1]])[0].as_matrix()
        half = np.array([diameter / 2, diameter / 2, length / 2])
        nearest = np.minimum(nearest, hit("cylinder", 2, half, (origin - (a + b) / 2) @ turn, way @ turn))
    return nearest


def rays(camera, x, y):
    """Origin and direction of the sight through pixels."""
    e = camera.elevation
    right, up, toward = np.array([[1, 0, 0], [0, np.cos(e), -np.sin(e)], [0, np.sin(e), np.cos(e)]])
    on_plane = (np.stack([x, y], -1) * camera.field_width / camera.image_width) @ np.stack([right, up])
    if camera.distance is None:
        return on_plane + 5.0 * toward, np.broadcast_to(-toward, on_plane.shape)
    return np.broadcast_to(camera.distance * toward, on_plane.shape), on_plane - camera.distance * toward


def traced_area(camera, solids, points, diameter, cells=400):
    """Area by counting the cells of a fine net in which the support is met first."""
    seen = camera.project(points)
    rim = 3 * diameter * camera.pixels_per_metre
    edge = np.array([camera.image_width, camera.image_height]) / 2
    low, high = np.maximum(seen.min(0) - rim, -edge), np.minimum(seen.max(0) + rim, edge)
    if (low >= high).any():
        return 0.0
    xs, ys = (np.linspace(low[k], high[k], 2 * cells + 1)[1::2] for k in (0, 1))
    origin, way = rays(camera, *np.meshgrid(xs, ys))
    rod = hit_rod(points, diameter, origin, way)
    prop = np.min([hit_solid(solid, origin, way) for solid in solids], axis=0)
    return ((rod < prop).mean()) * (high - low).prod()


def random_case(seed, shape, distance):
    rng = np.random.default_rng(seed)
    camera = Camera(
        field_width=0.42,
        image_width=1000,
        image_height=700,
        distance=distance,
        elevation=rng.uniform(-0.6, 1.2),
    )
    turn = Rotation.random(random_state=seed).as_matrix()
    solid = Solid(
        shape=shape, size=rng.uniform(0.03, 0.1, 3), centre=rng.uniform(-0.08, 0.08, 3), orientation=turn
    )
    root, tip = rng.uniform(-0.2, 0.2, 3), solid.centre + rng.uniform(-0.02, 0.02, 3)
    return camera, solid, np.array([root, tip])


@pytest.mark.parametrize("distance", [None, 1.1])
@pytest.mark.parametrize("shape", SHAPES)
def test_area_against_a_traced_picture(shape, distance):
    """A net of 400 by 400 cells knows the area to about a cell for each thirty cells of edge: 3e-3 of it."""
    for seed in range(4):
        camera, solid, points = random_case(seed, shape, distance)
        other = Solid(
            shape="box", size=[0.05, 0.02, 0.03], centre=points.mean(axis=0) + np.array([0.01, 0.0, 0.02])
        )
        solids = [solid, other] if seed % 2 else [solid]
        found = visible_support(Band(points=points, diameter=0.004), camera, solids)
        width = 0.004 * camera.pixels_per_metre
        traced = traced_area(camera, solids, points, 0.004)
        assert found.area_px == pytest.approx(traced, rel=5e-3, abs=0.08 * width**2)
        assert visible_area(Band(points=points, diameter=0.004), camera, solids) == found.area_px


@pytest.mark.parametrize("distance", [None, 0.7])
@pytest.mark.parametrize("shape", SHAPES)
def test_nothing_shows_of_what_is_surely_hidden(shape, distance):
    """Bent supports that come in from behind, some of them beside the prop."""
    told, shown = 0, 0
    for seed in range(60):
        camera, solid, _ = random_case(seed, shape, distance)
        rng = np.random.default_rng(1000 + seed)
        sight = camera.toward if distance is None else camera.position - solid.centre
        back = -sight / np.linalg.norm(sight) * np.array([[0.3], [0.2], [0.1], [0.0]])
        points = solid.centre + back + rng.normal(size=(4, 3)) * (0.3, 1.5)[seed % 2] * solid.half_size.min()
        diameter = float(rng.uniform(0.001, 0.006))
        hidden = surely_hidden(points, diameter, camera, solid)
        area = visible_area(Band(points=points, diameter=diameter), camera, solid)
        assert area == 0 or not hidden
        told, shown = told + int(hidden), shown + int(area > 0)
    assert told > 3
    assert shown > 10


@pytest.mark.parametrize("distance", [None, 0.7])
@pytest.mark.parametrize("shape", SHAPES)
def test_hidden_stretch_against_points_along_the_line(shape, distance):
    """Each of 2001 points is looked at along its own ray; the stretch may differ by the points' spacing."""
    share = np.linspace(0.0, 1.0, 2001)
    count = 0
    for seed in range(40):
        camera, solid, (start, end) = random_case(seed, shape, distance)
        if seed % 4 == 0:  # along the line of sight: the line is a point in the picture
            sight = camera.toward if distance is None else camera.position - end
            start = end - 0.15 * sight / np.linalg.norm(sight) * (1 if seed % 8 else -1)
        elif seed % 4 == 1:  # square to the world
            solid = Solid(shape=shape, size=solid.size, centre=solid.centre)
            start = end + np.eye(3)[seed % 3] * 0.2
        low, high = hidden_stretch(solid, camera, start=start[None], end=end[None])
        points = start + share[:, None] * (end - start)
        toward = camera.toward if distance is None else camera.position - points
        body = (points - solid.centre) @ solid.orientation
        way = np.broadcast_to(toward, points.shape) @ solid.orientation
        # looked at from the lens, or from far off: the solid is met at or before the point
        lens = body + way * (1.0 if distance is not None else 10.0)
        hidden = hit(solid.shape, solid.round_axis, solid.half_size, lens, body - lens) <= 1.0
        assert (hidden == ((share > low) & (share < high)))[1:-1].sum() >= 1997
        count += hidden.any() and not hidden.all()
    assert count > 12  # the cases do hide something


# -- closed forms ------------------------------------------------------------------------------------------


def test_rod_into_a_ball_from_the_left():
    """A 4 mm rod at the middle of a ball of 100 mm radius: 150 mm show, less the rounding of the ball's limb.

    On the rod's surface y^2 + z^2 = 2^2 (mm), so it enters the ball where x^2 + 2^2 = 100^2 all round.
    """
    ball = Solid(shape="sphere", size=[0.2, 0.2, 0.2])
    found = visible_support(Band(points=[[-0.25, 0, 0], [0, 0, 0]], diameter=0.004), LEVEL, ball)
    assert found.length_px == pytest.approx(250 - np.sqrt(100**2 - 2**2), rel=1e-12)
    assert found.width_px == pytest.approx(4.0, rel=1e-12)
    assert found.area_px == pytest.approx(4 * (250 - np.sqrt(100**2 - 2**2)), rel=1e-9)


def test_behind_before_and_beside():
    box = Solid(shape="box", size=[0.1, 0.1, 0.1])
    band = {"diameter": 0.002}
    behind = visible_support(Band(points=[[-0.04, 0, -0.2], [0.04, 0, -0.2]], **band), LEVEL, box)
    before = visible_support(Band(points=[[-0.04, 0, 0.2], [0.04, 0, 0.2]], **band), LEVEL, box)
    beside = visible_support(Band(points=[[-0.2, 0, -0.2], [0.2, 0, -0.2]], **band), LEVEL, box)
    assert (behind.length_px, behind.width_px, behind.area_px) == (0.0, 0.0, 0.0)
    assert before.area_px == pytest.approx(160.0, rel=1e-12)
    assert beside.length_px == pytest.approx(300.0, rel=1e-12)  # two pieces of 150 px
    assert beside.area_px == pytest.approx(600.0, rel=1e-12)


def test_two_props_hide_their_union():
    boxes = [Solid(shape="box", size=[0.1, 0.1, 0.1], centre=[x, 0, 0]) for x in (-0.08, -0.02, 0.2)]
    band = Band(points=[[-0.3, 0, -0.2], [0.3, 0, -0.2]], diameter=0.002)
    assert visible_support(band, LEVEL, boxes).length_px == pytest.approx(600 - 160 - 100, rel=1e-12)
    assert visible_support(band, LEVEL, boxes[::-1]).length_px == pytest.approx(340, rel=1e-12)
    nested = [*boxes, Solid(shape="box", size=[0.3, 0.1, 0.1]), Solid(shape="box", size=[0.02, 0.1, 0.1])]
    assert visible_support(band, LEVEL, nested).length_px == pytest.approx(600 - 300 - 100, rel=1e-12)
    assert visible_support(band, LEVEL, []).length_px == pytest.approx(600, rel=1e-12)


def test_only_what_is_in_the_frame_counts():
    band = {"diameter": 0.01}
    across = visible_support(Band(points=[[-3.0, 0, 0], [3.0, 0, 0]], **band), LEVEL, [])
    assert across.length_px == pytest.approx(1000.0, rel=1e-12)
    up = Band(points=[[0, -3.0, 0], [0, 3.0, 0]], **band)
    assert visible_support(up, LEVEL, []).length_px == pytest.approx(600.0, rel=1e-12)
    no_height = Camera(field_width=1.0, image_width=1000)
    assert visible_support(up, no_height, []).length_px == pytest.approx(6000.0, rel=1e-12)
    outside = visible_support(Band(points=[[0.6, 0, 0], [0.6, 0.1, 0]], **band), LEVEL, [])
    assert (outside.length_px, outside.width_px, outside.area_px) == (0.0, 0.0, 0.0)


def test_end_on_from_the_front_shows_the_end():
    """A support that comes straight at the lens shows a disc; eight lines are 2e-3 off a circle."""
    box = Solid(shape="box", size=[0.1, 0.1, 0.1])
    front = visible_support(Band(points=[[0, 0, 0.3], [0, 0, 0]], diameter=0.01), LEVEL, box)
    assert front.area_px == pytest.approx(np.pi / 4 * 10**2, rel=2e-3)
    assert front.width_px == pytest.approx(10.0, rel=1e-12)
    assert front.length_px == 0.0
    behind = visible_support(Band(points=[[0, 0, -0.3], [0, 0, 0]], diameter=0.01), LEVEL, box)
    assert behind.area_px == 0.0


def test_slanted_support_shows_its_side_and_its_end():
    """Whole silhouette of a cylinder seen at an angle: d L sin + (pi / 4) d^2 cos (derived here)."""
    angle = 0.7
    tip = 0.2 * np.array([np.sin(angle), 0.0, np.cos(angle)])
    for points in ([[0, 0, 0], tip], [tip, [0, 0, 0]]):
        found = visible_support(Band(points=points, diameter=0.02), LEVEL, [])
        expected = 20 * 200 * np.sin(angle) + np.pi / 4 * 20**2 * np.cos(angle)
        assert found.area_px == pytest.approx(expected, rel=1e-3)
        assert found.length_px == pytest.approx(200 * np.sin(angle), rel=1e-12)


def test_a_mitred_bend_counts_nothing_twice():
    """An L of two legs in the picture's plane has the area of its centre line times its width."""
    band = Band(points=[[-0.2, 0, 0], [0, 0, 0], [0, 0.1, 0]], diameter=0.02)
    found = visible_support(band, LEVEL, [])
    assert found.area_px == pytest.approx(300 * 20, rel=1e-12)
    # With the inner corner behind a box, what is left is the outer half of each leg up to the mitre. An
    # edge along the middle costs eight lines 1e-3.
    box = Solid(shape="box", size=[1.0, 1.0, 0.1], centre=[-0.5, 0.5, 0.2])
    outer = 200 * 10 + 100 * 10 + 10 * 10
    assert visible_support(band, LEVEL, box).area_px == pytest.approx(outer, rel=1e-3)
    hairpin = Band(points=[[-0.2, 0, 0], [0, 0, 0], [-0.2, 0.01, 0]], diameter=0.002)
    legs = 200 + np.hypot(200, 10)
    assert visible_support(hairpin, LEVEL, []).area_px == pytest.approx(legs * 2, rel=1e-3)


def test_stepped_diameter_and_strip():
    stepped = Band(points=[[-0.2, 0, 0], [-0.1, 0, 0], [0.2, 0, 0]], diameter=[0.01, 0.004])
    found = visible_support(stepped, LEVEL, [])
    assert found.area_px == pytest.approx(100 * 10 + 300 * 4, rel=1e-12)
    assert found.width_px == pytest.approx(10.0, rel=1e-12)
    for turn in (0.0, 0.4, np.pi / 2):
        wide = np.array([0.0, np.cos(turn), np.sin(turn)])
        strip = Band(points=[[-0.2, 0, 0], [0.2, 0, 0]], diameter=0.02, thickness=0.003, wide_direction=wide)
        width = 20 * np.cos(turn) + 3 * np.sin(turn)
        found = visible_support(strip, LEVEL, [])
        assert found.width_px == pytest.approx(width, rel=1e-12)
        assert found.area_px == pytest.approx(400 * width, rel=1e-12)
    end = Band(points=[[0, 0, 0.1], [0, 0, 0]], diameter=0.02, thickness=0.003, wide_direction=[1, 0, 0])
    assert visible_support(end, LEVEL, []).area_px == pytest.approx(60.0, rel=1e-12)


def test_perspective_width_follows_the_depth():
    """Seen from 1 m, a rod 0.5 m nearer is twice as wide; its front is a radius nearer, 2e-3 more."""
    camera = Camera(field_width=1.0, image_width=1000, distance=1.0)
    near, far = (
        visible_support(Band(points=[[-0.05, 0, z], [0.05, 0, z]], diameter=0.002), camera, [])
        for z in (0.5, -1.0)
    )
    assert near.width_px == pytest.approx(4.0, rel=3e-3)
    assert far.width_px == pytest.approx(1.0, rel=1e-3)
    assert near.area_px == pytest.approx(4.0 * 200, rel=3e-3)
    assert far.area_px == pytest.approx(1.0 * 50, rel=1e-3)


def test_a_strip_in_perspective_is_the_quadrangle_of_its_corners():
    """A flat strip that runs away from the lens and shows its width: the area between its corners' pictures, for any
    number of lines, as its surface does not fall away across it. Its thickness counts 1e-6."""
    camera = Camera(field_width=1.0, image_width=1000, distance=1.0)
    line, half = np.array([[-0.05, 0.0, -0.4], [0.15, 0.0, 0.4]]), np.array([0.0, 0.1, 0.0])
    strip = Band(points=line, diameter=0.2, thickness=1e-6, wide_direction=[0, 1, 0])
    x, y = camera.project(np.stack([line[0] - half, line[1] - half, line[1] + half, line[0] + half])).T
    area = abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2
    for lines in (2, 8):
        assert visible_support(strip, camera, [], lines_across=lines).area_px == pytest.approx(area, rel=1e-5)


def test_what_passes_the_lens_is_left_out():
    camera = Camera(field_width=1.0, image_width=1000, image_height=600, distance=1.0)
    found = visible_support(Band(points=[[0.01, 0, 3.0], [0, 0, -1.0]], diameter=0.002), camera, [])
    assert np.isfinite(found.area_px)
    assert 0 < found.area_px < 600_000
    # 10 mm below the axis, its top at 9 mm: from w = 2 to the 2 % that still count
    camera = Camera(field_width=1.0, image_width=1000, distance=1.0)
    found = visible_support(Band(points=[[0, -0.01, 3.0], [0, -0.01, -1.0]], diameter=0.002), camera, [])
    assert found.length_px == pytest.approx(9.0 * (1 / 0.02 - 1 / 2), rel=1e-9)


@given(st.sampled_from(SHAPES), st.integers(0, 200), st.sampled_from([None, 1.1]), st.floats(0.3, 4.0))
def test_mirror_and_image_width(shape, seed, distance, factor):
    camera, solid, points = random_case(seed, shape, distance)
    found = visible_support(Band(points=points, diameter=0.003), camera, solid)
    flip = np.diag([-1.0, 1.0, 1.0])
    mirrored = Solid(
        shape=shape, size=solid.size, centre=solid.centre @ flip, orientation=flip @ solid.orientation @ flip
    )
    again = visible_support(Band(points=points @ flip, diameter=0.003), camera, mirrored)
    wider = Camera(
        field_width=0.42,
        image_width=1000 * factor,
        image_height=700 * factor,
        distance=distance,
        elevation=camera.elevation,
    )
    larger = visible_support(Band(points=points, diameter=0.003), wider, solid)
    for name, power in (("length_px", 1), ("width_px", 1), ("area_px", 2)):
        value = getattr(found, name)
        assert getattr(again, name) == pytest.approx(value, rel=1e-8, abs=1e-6)
        assert getattr(larger, name) == pytest.approx(value * factor**power, rel=1e-8, abs=1e-6)


def test_poses_are_independent():
    """A prop slides over a fixed rod behind it: it shows in the poses in which the box does not cover it."""
    place = np.linspace(-0.3, 0.3, 61)
    box = Solid(shape="box", size=[0.1, 0.1, 0.1], centre=np.stack([place, 0 * place, 0 * place], axis=-1))
    band = Band(points=[[-0.01, 0, -0.2], [0.01, 0, -0.2]], diameter=0.002)
    found = visible_support(band, LEVEL, box)
    assert found.length_px.shape == (61,)
    expected = np.clip(np.abs(place) * 1000 - 40, 0.0, 20.0)
    assert found.length_px == pytest.approx(expected, abs=1e-9)
    one = visible_support(band, LEVEL, Solid(shape="box", size=[0.1, 0.1, 0.1], centre=[place[23], 0, 0]))
    assert found.area_px[23] == pytest.approx(one.area_px, abs=1e-12)


def test_many_poses_are_cut_into_stretches_without_a_seam():
    rng = np.random.default_rng(0)
    turns = Rotation.random(3000, random_state=0).as_matrix().reshape(2, 1500, 3, 3)
    solid = Solid(shape="cylinder", size=[0.05, 0.08, 0.05], orientation=turns)
    points = np.stack([rng.uniform(-0.2, 0.2, (2, 1500, 3)), np.zeros((2, 1500, 3))], axis=-2)
    found = visible_support(Band(points=points, diameter=0.003), LEVEL, solid)
    assert found.area_px.shape == (2, 1500)
    for k in ((0, 0), (0, 1175), (1, 1499)):
        single = Solid(shape="cylinder", size=[0.05, 0.08, 0.05], orientation=turns[k])
        assert found.area_px[k] == pytest.approx(
            visible_support(Band(points=points[k], diameter=0.003), LEVEL, single).area_px, rel=1e-12
        )


def test_what_shows_from_each_side_of_a_ball():
    """Straight from behind nothing, from the front the wire's end, from any side what sticks out of the ball."""
    ball = Solid(shape="sphere", size=[0.1, 0.1, 0.1])
    sides = 0.2 * np.array([[0, 0, -1], [0, 0, 1], [-1, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0]])
    band = Band(points=np.stack([sides, np.zeros_like(sides)], axis=-2), diameter=0.004)
    area = visible_support(band, LEVEL, ball).area_px
    assert area[0] == 0.0
    assert area[1] == pytest.approx(np.pi / 4 * 16, rel=2e-3)
    assert area[2:] == pytest.approx(np.full(4, 4 * (200 - np.sqrt(50**2 - 2**2))), rel=1e-9)


LINE = np.array([[0.0, 0.0, 0.0], [0.1, 0.0, 0.0]])


@pytest.mark.parametrize(("slant", "taken"), [(0.9e-6, True), (1.1e-6, False)])
def test_a_strip_may_slant_by_a_millionth_at_any_segment(slant, taken):
    """Of each segment by itself, however many and however long the others are."""
    points = np.outer([0.0, 0.1, 0.4, 0.6, 0.65], [1.0, 0.0, 0.0])
    points[-1] += [0.0, 0.05 * slant, 0.0]
    strip = {"points": points, "diameter": 0.01, "thickness": 0.001, "wide_direction": [0.0, 3.0, 0.0]}
    if taken:
        np.testing.assert_allclose(Band(**strip).wide_direction, [0.0, 1.0, 0.0])
    else:
        with pytest.raises(ArgumentError, match="not at right angles to every segment"):
            Band(**strip)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Band(points=LINE[:1], diameter=0.01), "at least two"),
        (lambda: Band(points=LINE[[0, 0]], diameter=0.01), "are the same"),
        (lambda: Band(points=LINE, diameter=[0.01, 0.02]), "each of the 1 segments"),
        (lambda: Band(points=LINE, diameter=-1.0), "^diameter: given -1 m; "),
        (lambda: Band(points=LINE, diameter=0.01, thickness=0.001), "a strip needs both"),
        (
            lambda: Band(points=LINE, diameter=0.01, thickness=0.0, wide_direction=[0, 1, 0]),
            "^thickness: given 0 m; it has to be a finite number above 0 m[.]$",
        ),
        (lambda: Band(points=LINE, diameter=0.01, thickness=0.001, wide_direction=[1, 0, 0]), "right angles"),
        (
            lambda: Band(points=LINE, diameter=0.01, thickness=0.001, wide_direction=[0, 0, 0]),
            "without length",
        ),
        (
            lambda: visible_support(Band(points=LINE, diameter=0.01), LEVEL, [], lines_across=1),
            "lines_across",
        ),
        (
            lambda: visible_support(
                Band(points=np.stack([LINE] * 2), diameter=0.01),
                LEVEL,
                Solid(shape="box", size=[1, 1, 1], centre=np.zeros((3, 3))),
            ),
            "same number of poses",
        ),
    ],
)
def test_errors(call, says):
    with pytest.raises(ArgumentError, match=says):
        call()


def test_lens_inside_a_prop():
    camera = Camera(field_width=1.0, image_width=1000, distance=0.5)
    ball = Solid(shape="sphere", size=[0.3, 0.3, 0.3], centre=[0, 0, 0.5])
    with pytest.raises(ValidityError, match="lens is inside the prop"):
        visible_support(Band(points=LINE, diameter=0.01), camera, ball)
