"""The field in the moving frame against differences of the positions it describes."""

import numpy as np
import pytest

from rigcheck.errors import ArgumentError
from rigcheck.motion.moving_frame import Carrier, frame_field

GRAVITY = np.array([0.0, -9.80665, 0.0])


def wavy(size, rate, phase):
    def law(times):
        angle = rate * times + phase
        return size * np.sin(angle), size * rate * np.cos(angle), -size * rate**2 * np.sin(angle)

    return law


def unit(*parts):
    vector = np.array(parts, dtype=float)
    return vector / np.linalg.norm(vector)


CHAIN = (
    Carrier(rolls=False, direction=unit(0.2, 1, 0.3), law=wavy(0.3, 2.0, 0.3)),
    Carrier(rolls=True, direction=unit(1, 0.4, -0.3), through=np.array([0.1, -0.2, 0.05]), law=wavy(1.1, 3.0, 1.0)),
    Carrier(rolls=False, direction=unit(-1, 0.2, 0.5), law=wavy(0.2, 1.7, -0.4)),
    Carrier(rolls=True, direction=unit(0, 0.3, 1), through=np.array([0.0, 0.1, -0.3]), law=wavy(2.0, 1.3, 0.2)),
)  # fmt: skip


@pytest.mark.parametrize("count", [1, 2, 3, 4])
@pytest.mark.parametrize("point", [(0.0, 0.0, 0.0), (0.2, -0.1, 0.3)])
def test_field_is_gravity_less_the_acceleration_of_the_point(count, point):
    """Second central differences of p + R x; step 1e-4 s leaves an error of about 1e-6 of the rates here."""
    chain, body, step = CHAIN[:count], np.array(point), 1e-4
    times = np.linspace(0.1, 2.0, 9)

    def place(at):
        field = frame_field(chain, at, gravity=GRAVITY)
        return field.position + field.rotation @ body

    acceleration = (place(times + step) - 2 * place(times) + place(times - step)) / step**2
    field = frame_field(chain, times, gravity=GRAVITY)
    felt = field.offset + field.gradient @ body
    expected = np.einsum("nji,nj->ni", field.rotation, GRAVITY - acceleration)
    np.testing.assert_allclose(felt, expected, rtol=0, atol=3e-6 * np.abs(expected).max())


def test_spin_is_that_of_the_rotation():
    times, step = np.linspace(0.0, 2.0, 7), 1e-5
    field = frame_field(CHAIN, times, gravity=GRAVITY)
    change = (
        frame_field(CHAIN, times + step, gravity=GRAVITY).rotation
        - frame_field(CHAIN, times - step, gravity=GRAVITY).rotation
    ) / (2 * step)
    whirl = np.einsum("nji,njk->nik", field.rotation, change)
    np.testing.assert_allclose(whirl[:, 2, 1], field.spin[:, 0], atol=1e-8)
    np.testing.assert_allclose(whirl[:, 0, 2], field.spin[:, 1], atol=1e-8)
    np.testing.assert_allclose(whirl[:, 1, 0], field.spin[:, 2], atol=1e-8)


def test_steady_roll_gives_the_centrifugal_field_of_a_text_book():
    """omega^2 r outward, and gravity that turns; derived here."""
    rate = 3.0

    def law(times):
        return rate * times, np.full_like(times, rate), np.zeros_like(times)

    roll = Carrier(rolls=True, direction=np.array([0.0, 0.0, 1.0]), through=np.zeros(3), law=law)
    field = frame_field([roll], np.array([0.0, np.pi / 2 / rate]), gravity=GRAVITY)
    np.testing.assert_allclose(
        field.gradient @ np.array([0.5, 0, 0]), [[rate**2 * 0.5, 0, 0]] * 2, atol=1e-12
    )
    np.testing.assert_allclose(field.offset, [[0, -9.80665, 0], [-9.80665, 0, 0]], atol=1e-12)


def test_bad_carriers_are_named():
    def still(times):
        return np.zeros_like(times), np.zeros_like(times), np.zeros_like(times)

    with pytest.raises(ArgumentError, match="direction: given"):
        frame_field(
            [Carrier(rolls=False, direction=np.array([0.0, 2.0, 0.0]), law=still)],
            np.zeros(1),
            gravity=GRAVITY,
        )
    with pytest.raises(ArgumentError, match="through: a roll"):
        frame_field(
            [Carrier(rolls=True, direction=np.array([0.0, 1.0, 0.0]), law=still)],
            np.zeros(1),
            gravity=GRAVITY,
        )
