"""The picture room against published tables, worked examples and theorems."""

import numpy as np
import pytest
from polygons import polygon_area
from scipy.spatial.transform import Rotation

from rigcheck.picture.outlines import outline
from rigcheck.picture.projection import Camera, thin_lens_excess
from rigcheck.picture.solids import Solid
from rigcheck.picture.visibility import Band, visible_support
from rigcheck.picture.wobble import exposure_time, seen_frequency

pytestmark = pytest.mark.evidence(
    what="Camera: field of view, depth, visible area",
    source="Published field-of-view table; worked examples; Cauchy's theorem on shadows",
    serves="check",
)


@pytest.mark.parametrize(
    ("focal_length", "sensor_width", "angle"),
    [
        # Table "field of view", ayton.id.au/wiki photo:fov, 36 x 24 mm sensor, row 50 mm: 39.6 and 27.0 deg.
        # (Its rows from 100 mm on are rounded from the small-angle formula and are not used.)
        (50.0, 36.0, 39.6),
        (50.0, 24.0, 27.0),
        # Worked example, sciencezero.4hv.org "Angle of view": 30 mm lens, 22.5 mm sensor, 41.1 degrees.
        (30.0, 22.5, 41.1),
    ],
)
def test_angle_of_view(focal_length, sensor_width, angle):
    """The edge of the frame, at any distance, lies half the printed angle off the axis (one decimal)."""
    camera = Camera.from_lens(
        distance=1.1, focal_length=focal_length / 1e3, sensor_width=sensor_width / 1e3, image_width=3840
    )
    assert 2 * np.degrees(np.arctan(camera.field_width / 2 / 1.1)) == pytest.approx(angle, abs=0.05)
    edge = 1.1 * np.tan(np.radians(angle) / 2)
    # 0.05 degrees of rounding move the edge by up to 0.15 %
    assert camera.project([edge, 0, 0])[0] == pytest.approx(1920, rel=2e-3)


def test_thin_lens_at_half_life_size():
    """ayton.id.au/wiki photo:fov: effective focal length = actual x (1 + magnification), 1.5 for 1:2."""
    distance, focal_length = 0.15, 0.05
    assert thin_lens_excess(distance=distance, focal_length=focal_length) == pytest.approx(0.5, rel=1e-14)
    lens = {"distance": distance, "focal_length": focal_length, "sensor_width": 0.036, "image_width": 3600}
    far, near = Camera.from_lens(**lens), Camera.from_lens(**lens, focused_on_prop=True)
    assert near.pixels_per_metre / far.pixels_per_metre == pytest.approx(1.5, rel=1e-14)
    assert near.field_width == pytest.approx(2 * 0.036, rel=1e-14)  # 1:2 means twice the sensor in view


@pytest.mark.parametrize(
    ("frequency", "rate", "alias"),
    [
        # P. F. Dunn, "Measurement and Data Analysis for Engineering and Science", 2nd ed., p. 384, example
        # problem 10.1: with a folding frequency of 200 Hz, 350, 450, 750 and 850 Hz "all will map
        # into f1 = 50 Hz".
        (350.0, 400.0, 50.0),
        (450.0, 400.0, 50.0),
        (750.0, 400.0, 50.0),
        (850.0, 400.0, 50.0),
        # Lecture example ECE 2610, "Sampling example" (studylib.net/doc/18677421): 3000 Hz sampled at 2500 Hz
        # is aliased to 500 Hz; 1000 Hz "is a principle alias already".
        (3000.0, 2500.0, 500.0),
        (1000.0, 2500.0, 1000.0),
    ],
)
def test_alias_frequencies(frequency, rate, alias):
    seen, false = seen_frequency(frequency, rate)
    assert seen == pytest.approx(alias, rel=1e-12)
    assert bool(false) == (alias != frequency)


@pytest.mark.parametrize(
    ("angle", "reciprocal"),
    [
        # "Shutter speed", section "Cinematographic shutter formula" (liquisearch.com/shutter_speed), at 24
        # frames a second: 180 degrees 1/48 s, 172.8 degrees 1/50 s, 144 degrees 1/60 s.
        (180.0, 48.0),
        (172.8, 50.0),
        (144.0, 60.0),
    ],
)
def test_exposure_of_a_shutter(angle, reciprocal):
    assert exposure_time(np.radians(angle), 24.0) == pytest.approx(1.0 / reciprocal, rel=1e-12)


@pytest.mark.parametrize("shape", ["box", "cylinder", "disc", "sphere"])
def test_mean_shadow_is_a_quarter_of_the_surface(shape):
    """In space the mean projected area of a convex body is a quarter of its surface.

    E. Tsukerman, E. Veomett, "A simple proof of Cauchy's surface area formula", arXiv 1604.05815, theorem 1.
    Directions on a 40 x 40 product net (Gauss-Legendre in height, even in azimuth); the integrand has kinks
    where faces turn edge-on, which leave about 1e-3. Inscribed polygons are up to 8e-4 small.
    """
    size = np.array([0.06, 0.10, 0.06])
    height, weight = np.polynomial.legendre.leggauss(40)
    azimuth = (np.arange(40) + 0.5) * 2 * np.pi / 40
    spin = Rotation.from_rotvec(np.tile(azimuth, 40)[:, None] * [0.0, 1.0, 0.0])
    tilt = Rotation.from_rotvec(np.arcsin(height).repeat(40)[:, None] * [1.0, 0.0, 0.0])
    turns = (tilt * spin).as_matrix()
    area = polygon_area(
        outline(
            Solid(shape=shape, size=size, axis=1, orientation=turns),
            Camera(field_width=1.0, image_width=1000),
        )
    )
    mean = (area.reshape(40, 40).mean(axis=1) * weight).sum() / 2
    if shape == "box":
        surface = 2 * (60 * 100 + 100 * 60 + 60 * 60)
    elif shape == "sphere":  # prolate ellipsoid of revolution, half axes 30 and 50 mm (standard mensuration)
        a, c = 30.0, 50.0
        e = np.sqrt(1 - (a / c) ** 2)
        surface = 2 * np.pi * a * (a + c / e * np.arcsin(e))
    else:
        surface = np.pi * 60 * 100 + 2 * np.pi / 4 * 60**2
    assert mean == pytest.approx(surface / 4, rel=2e-3)


def test_mean_visible_area_of_a_bare_rod_is_a_quarter_of_its_surface():
    """The same theorem for the support's band with its ends; eight lines leave 2e-3 of the small ends."""
    height, weight = np.polynomial.legendre.leggauss(60)
    way = np.stack([np.sqrt(1 - height**2), 0 * height, height], axis=-1)
    points = np.stack([-0.05 * way, 0.05 * way], axis=-2)
    found = visible_support(Band(points=points, diameter=0.02), Camera(field_width=1.0, image_width=1000), [])
    surface = np.pi * 20 * 100 + 2 * np.pi / 4 * 20**2
    assert (found.area_px * weight).sum() / 2 == pytest.approx(surface / 4, rel=1e-3)
