"""The camera's own identities; published tables are in tests/evidence/test_projection.py."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.picture.projection import Camera, thin_lens_excess

LENS = {"distance": 1.1, "focal_length": 0.05, "sensor_width": 0.036, "image_width": 3840}
places = st.tuples(*[st.floats(-0.3, 0.3)] * 3).map(np.array)
tilts = st.floats(-1.5, 1.5)


def test_a_measured_field_gives_pixels_by_proportion_and_does_not_see_depth():
    camera = Camera(field_width=0.42, image_width=3840)
    assert camera.project([0.021, 0.0105, 0.3]) == pytest.approx([192.0, 96.0], rel=1e-14)
    assert camera.position is None


def test_level_pinhole_is_focal_length_times_ratio_of_place_to_depth():
    """x = f X / Z on the sensor, times pixels per metre of sensor: the definition of the pinhole camera."""
    camera = Camera.from_lens(**LENS)
    place = np.array([0.05, -0.08, 0.2])
    depth = 1.1 - place[2]
    expected = 0.05 * place[:2] / depth * (3840 / 0.036)
    assert camera.project(place) == pytest.approx(expected, rel=1e-14)
    assert camera.pixels_per_metre_at(place) == pytest.approx(0.05 / depth * 3840 / 0.036, rel=1e-14)


def test_a_lens_keeps_what_else_is_said_of_the_camera():
    """Its field is 0.036 x 1.1/0.05 m wide; elevation and frame are as given, and so is the picture."""
    seen = Camera.from_lens(**LENS, elevation=0.3, image_height=2160)
    plain = Camera(
        field_width=0.036 * 1.1 / 0.05, image_width=3840, image_height=2160, distance=1.1, elevation=0.3
    )
    assert (seen.elevation, seen.image_height, seen.distance) == (0.3, 2160, 1.1)
    place = np.array([0.05, -0.08, 0.2])
    assert seen.project(place) == pytest.approx(plain.project(place), rel=1e-14)


def test_straight_down_shows_away_as_up():
    """From straight above, what is farther away stands higher in the picture, what is lower looks smaller."""
    camera = Camera(field_width=0.4, image_width=400, distance=1.0, elevation=np.pi / 2)
    assert camera.project([0.1, 0.0, -0.05]) == pytest.approx([100.0, 50.0], rel=1e-12)
    assert camera.project([0.1, -1.0, 0.0]) == pytest.approx([50.0, 0.0], abs=1e-12)
    assert camera.position == pytest.approx([0.0, 1.0, 0.0], abs=1e-15)


@given(tilts)
def test_axes_are_right_handed_and_square(tilt):
    camera = Camera(field_width=1.0, image_width=100, elevation=tilt)
    axes = np.stack([camera.right, camera.up, camera.toward])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-15)
    assert np.linalg.det(axes) == pytest.approx(1.0)


@given(places, tilts, st.sampled_from([None, 0.9, 5.0]))
def test_jacobian_is_the_slope_of_the_projection(at, tilt, distance):
    """Central differences of step 1e-5 m have an error of step^2 / distance^2, 1e-10, and rounding."""
    camera = Camera(field_width=0.42, image_width=3840, distance=distance, elevation=tilt)
    step = 1e-5
    slope = np.stack(
        [(camera.project(at + step * e) - camera.project(at - step * e)) / (2 * step) for e in np.eye(3)],
        axis=1,
    )
    assert camera.pixel_jacobian(at) == pytest.approx(slope, abs=1e-6 * camera.pixels_per_metre)


@given(places, tilts, st.sampled_from([None, 0.9]), st.floats(0.1, 10.0))
def test_mirror_and_image_width(at, tilt, distance, factor):
    camera = Camera(field_width=0.42, image_width=1000, distance=distance, elevation=tilt)
    larger = Camera(field_width=0.42, image_width=1000 * factor, distance=distance, elevation=tilt)
    seen = camera.project(at)
    assert camera.project(at * [-1, 1, 1]) == pytest.approx(seen * [-1, 1], abs=1e-9)
    assert larger.project(at) == pytest.approx(seen * factor, rel=1e-12, abs=1e-9)


def test_far_away_pinhole_becomes_the_measured_field():
    """The difference falls as depth / distance: 0.3 m at 3 km is 1e-4 of the place."""
    place = np.array([0.1, 0.05, 0.3])
    far = Camera(field_width=0.42, image_width=3840, distance=3000.0, elevation=0.3).project(place)
    near = Camera(field_width=0.42, image_width=3840, elevation=0.3).project(place)
    assert far == pytest.approx(near, rel=2e-4)
    assert far != pytest.approx(near, rel=1e-6)


def test_batch_axes():
    camera = Camera.from_lens(**LENS, elevation=0.4)
    points = np.random.default_rng(3).uniform(-0.2, 0.2, (4, 5, 3))
    seen, slope = camera.project(points), camera.pixel_jacobian(points)
    assert seen.shape == (4, 5, 2)
    assert slope.shape == (4, 5, 2, 3)
    assert seen[2, 3] == pytest.approx(camera.project(points[2, 3]), rel=1e-15)
    assert slope[1, 4] == pytest.approx(camera.pixel_jacobian(points[1, 4]), rel=1e-14)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"field_width": 0.0}, "field_width: given 0 m"),
        ({"field_width": np.array([1.0, 2.0])}, "field_width: given 2 values"),
        ({"image_width": -1}, "image_width: given -1 px"),
        ({"distance": np.nan}, "distance: given nan m"),
        ({"image_height": 0}, "image_height: given 0 px"),
        ({"elevation": 2.0}, "elevation: given 2 rad"),
        ({"elevation": np.nan}, "elevation: given nan rad"),
    ],
)
def test_bad_camera(change, says):
    with pytest.raises(ArgumentError, match=says):
        Camera(**{"field_width": 0.42, "image_width": 3840} | change)


def test_bad_lens_and_places():
    with pytest.raises(ArgumentError, match=r"given 0\.04 m with a focal length of 0\.05 m"):
        thin_lens_excess(distance=0.04, focal_length=0.05)
    with pytest.raises(ArgumentError, match="makes no image"):
        Camera.from_lens(**LENS | {"distance": 0.05}, focused_on_prop=True)
    camera = Camera.from_lens(**LENS)
    for call in (camera.project, camera.pixels_per_metre_at, camera.pixel_jacobian):
        with pytest.raises(ValidityError, match=r"lies 0\.1 m behind the lens"):
            call([0.0, 0.0, 1.2])
    with pytest.raises(ArgumentError, match=r"wanted \(..., 3\)"):
        camera.project([1.0, 2.0])
    with pytest.raises(ArgumentError, match="points: given inf"):
        camera.project([1.0, 2.0, np.inf])
