"""Silhouettes of solids: closed forms, hulls of sampled surfaces, invariances."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from polygons import polygon_area
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.picture.outlines import outline
from rigcheck.picture.projection import Camera
from rigcheck.picture.solids import Solid

SHAPES = ("box", "cylinder", "disc", "sphere")
LEVEL = Camera(field_width=1.0, image_width=1000)  # 1 px is 1 mm
SIZE = np.array([0.05, 0.08, 0.03])


def surface(solid, count=400):
    """Points on the surface of a solid in one pose: corners, rims, or a net over the ball."""
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    if solid.shape == "box":
        unit = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], dtype=float)
    elif solid.shape == "sphere":
        polar, around = np.meshgrid(np.linspace(0, np.pi, 120), angle[::4])
        unit = np.stack([np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)], -1)
        unit = unit.reshape(-1, 3)
    else:
        unit = np.empty((2, count, 3))
        unit[..., solid.across[0]], unit[..., solid.across[1]] = np.cos(angle), np.sin(angle)
        unit[..., solid.round_axis] = np.array([[-1.0], [1.0]])
        unit = unit.reshape(-1, 3)
    return (unit * solid.half_size) @ solid.orientation.T + solid.centre


@pytest.mark.parametrize(
    ("shape", "area", "error"),
    [
        ("box", 50 * 80, 1e-12),
        ("cylinder", 50 * 80, 1e-12),  # its axis is up: seen from the side it is a rectangle
        # polygons inscribed in an ellipse: sin(a) / a of its area, a = 2 pi / 180, and 2 pi / 89 for a disc's
        # rim
        ("sphere", np.pi / 4 * 50 * 80, 2.1e-4),
        ("disc", np.pi / 4 * 50 * 80, 8.4e-4),
    ],
)
def test_seen_from_the_front(shape, area, error):
    polygon = outline(Solid(shape=shape, size=SIZE), LEVEL)
    assert polygon_area(polygon) <= area * (1 + 1e-12)
    assert polygon_area(polygon) == pytest.approx(area, rel=error)


def test_cube_along_its_diagonal_is_a_hexagon():
    """The largest shadow of the unit cube is the regular hexagon of area sqrt(3) (derived here: |n|_1)."""
    turn = Rotation.align_vectors([[0, 0, 1]], [np.ones(3) / np.sqrt(3)])[0].as_matrix()
    polygon = outline(Solid(shape="box", size=[1, 1, 1], orientation=turn), LEVEL)
    assert polygon_area(polygon) == pytest.approx(1e6 * np.sqrt(3), rel=1e-12)
    sides = np.linalg.norm(np.roll(polygon, -1, axis=0) - polygon, axis=1)
    assert sides == pytest.approx(np.full(6, 1e3 * np.sqrt(2 / 3)), rel=1e-12)


def test_ball_in_perspective_is_larger_than_its_equator():
    """Tangents from distance d lie on the cone of sine r / d: radius f r / sqrt(d^2 - r^2) (derived here)."""
    camera = Camera(field_width=1.0, image_width=1000, distance=1.0)
    polygon = outline(Solid(shape="sphere", size=[0.4, 0.4, 0.4]), camera)
    radius = 1000 * 0.2 / np.sqrt(1.0 - 0.2**2)
    assert np.linalg.norm(polygon, axis=1) == pytest.approx(np.full(180, radius), rel=1e-12)


@pytest.mark.parametrize("distance", [None, 0.6])
@pytest.mark.parametrize("shape", SHAPES)
def test_against_the_hull_of_the_projected_surface(shape, distance):
    """Outlines against the convex hull (scipy) of projected surface points.

    Both polygons are inscribed: the outline's sagitta is up to 6.3e-4 of the radius (2 pi / 89 between
    corners), the sampled surface's up to 5e-4; areas and extents differ by about twice the sum at most.
    """
    for seed in range(10):
        rng = np.random.default_rng(seed)
        turn = Rotation.random(random_state=seed).as_matrix()
        solid = Solid(
            shape=shape, size=rng.uniform(0.02, 0.12, 3), centre=rng.uniform(-0.1, 0.1, 3), orientation=turn
        )
        camera = Camera(field_width=1, image_width=1000, distance=distance, elevation=rng.uniform(-0.5, 1.5))
        polygon = outline(solid, camera)
        sampled = camera.project(surface(solid))
        hull = ConvexHull(sampled)
        assert polygon_area(polygon) == pytest.approx(hull.volume, rel=2e-3)
        ways = np.stack([np.cos(np.arange(64) / 10), np.sin(np.arange(64) / 10)])
        size = np.ptp(sampled, axis=0).max()
        assert (polygon @ ways).max(axis=0) == pytest.approx((sampled @ ways).max(axis=0), abs=1e-3 * size)
        if shape == "box":
            assert polygon_area(polygon) == pytest.approx(hull.volume, rel=1e-10)


@pytest.mark.parametrize("shape", SHAPES)
def test_polygons_are_convex_and_counterclockwise(shape):
    turns = Rotation.random(200, random_state=5).as_matrix()
    turns[:3] = np.eye(3), Rotation.from_euler("x", 90, degrees=True).as_matrix(), np.diag([-1.0, -1.0, 1.0])
    solid = Solid(shape=shape, size=SIZE, orientation=turns, centre=[0.05, -0.1, 0.02])
    for distance in (None, 0.4):
        polygon = outline(solid, Camera(field_width=1.0, image_width=1000, distance=distance))
        edge = np.roll(polygon, -1, axis=-2) - polygon
        after = np.roll(edge, -1, axis=-2)
        assert (edge[..., 0] * after[..., 1] - edge[..., 1] * after[..., 0]).min() > -1e-6
        assert polygon_area(polygon).min() > 0


@given(st.sampled_from(SHAPES), st.floats(-1.4, 1.4), st.integers(0, 99), st.floats(0.2, 5.0))
def test_mirror_and_image_width(shape, tilt, seed, factor):
    """A mirrored pose has the mirrored outline; a wider image scales areas by the square."""
    turn = Rotation.random(random_state=seed).as_matrix()
    flip = np.diag([-1.0, 1.0, 1.0])
    camera = Camera(field_width=0.4, image_width=1000, distance=0.8, elevation=tilt)
    wider = Camera(field_width=0.4, image_width=1000 * factor, distance=0.8, elevation=tilt)
    solid = Solid(shape=shape, size=SIZE, centre=[0.05, 0.02, 0.01], orientation=turn)
    mirrored = Solid(shape=shape, size=SIZE, centre=[-0.05, 0.02, 0.01], orientation=flip @ turn @ flip)
    area = polygon_area(outline(solid, camera))
    # corners of a mirrored arc lie elsewhere on the same curve: the inscribed areas agree to the sagitta
    assert polygon_area(outline(mirrored, camera)) == pytest.approx(area, rel=1e-3)
    assert polygon_area(outline(solid, wider)) == pytest.approx(area * factor**2, rel=1e-9)


def test_camera_above_the_end_of_a_cylinder_sees_its_cap_only():
    camera = Camera(field_width=1.0, image_width=1000, distance=0.5, elevation=np.pi / 2)
    polygon = outline(Solid(shape="cylinder", size=[0.1, 0.2, 0.1]), camera)
    rim = 1000 * 0.05 * 0.5 / (0.5 - 0.1)  # nearer than the frame's centre by half the height
    assert np.linalg.norm(polygon, axis=-1) == pytest.approx(np.full(180, rim), rel=1e-12)


def test_errors():
    camera = Camera(field_width=1.0, image_width=1000, distance=0.5)
    for shape in SHAPES:
        with pytest.raises(ValidityError, match="lens is inside the prop"):
            outline(Solid(shape=shape, size=[0.3, 0.3, 0.3], centre=[0, 0, 0.45]), camera)
    with pytest.raises(ValidityError, match="behind the lens"):
        outline(Solid(shape="box", size=SIZE, centre=[0, 0, 1.0]), camera)
    with pytest.raises(ArgumentError, match="arc_points: given 7"):
        outline(Solid(shape="box", size=SIZE), camera, arc_points=7)
    with pytest.raises(ArgumentError, match=r"arc_points: given 9\.5"):
        outline(Solid(shape="box", size=SIZE), camera, arc_points=9.5)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"shape": "cone"}, "shape: given 'cone'; allowed are box, cylinder, disc, sphere"),
        ({"size": [0.1, 0.0, 0.1]}, "size: given 0 m"),
        ({"size": [0.1, 0.1]}, "right, up, toward"),
        ({"axis": 3}, "axis: given 3"),
        ({"centre": [0.0, np.nan, 0.0]}, "centre: given nan"),
        ({"orientation": np.ones(3)}, r"wanted \(..., 3, 3\)"),
        ({"orientation": 2 * np.eye(3)}, "not a rotation"),
        ({"orientation": np.diag([1.0, 1.0, -1.0])}, "not a rotation"),
        ({"centre": np.zeros((2, 3)), "orientation": np.stack([np.eye(3)] * 3)}, "one of each a pose"),
    ],
)
def test_bad_solid(change, says):
    with pytest.raises(ArgumentError, match=says):
        Solid(**{"shape": "box", "size": SIZE} | change)


@pytest.mark.parametrize("shape", SHAPES)
def test_farthest_point_is_the_farthest_of_the_sampled_surface(shape):
    """The net of 120 by 100 points misses the farthest place by (pi / 100)^2 / 2 + (pi / 240)^2 / 2."""
    solid = Solid(
        shape=shape,
        size=SIZE,
        centre=[0.1, 0.0, -0.2],
        orientation=Rotation.random(random_state=1).as_matrix(),
    )
    ways = np.random.default_rng(2).normal(size=(50, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    found = (solid.farthest_point(ways) * ways).sum(axis=1)
    sampled = (surface(solid) @ ways.T).max(axis=0)
    assert (found >= sampled - 1e-12).all()
    assert found == pytest.approx(sampled, abs=7e-4 * solid.bounding_radius)
    assert np.linalg.norm(surface(solid) - solid.centre, axis=1).max() == pytest.approx(
        solid.bounding_radius, rel=7e-4
    )
