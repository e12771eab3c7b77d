"""Props on lines against closed forms: pendulums, two and three parallel lines, a V, a taut line.

The relations are in textbooks of vibration (J. P. Den Hartog, Mechanical Vibrations; W. T. Thomson, Theory of
Vibration with Applications; both from memory), and each is derived in a line beside its test. A real line has
some stiffness against bending: a clamped end under the tension N acts as if the line were sqrt(EI / N) shorter
there (the boundary layer of the stretched beam, derived here), 0.15 mm for the thin line of these tests.
Tolerances are what is left of that, of the line's own mass (0.01 % of the prop's) and of its stretch.
"""

from dataclasses import replace

import numpy as np
import pytest
from line_rigs import Line, task_on_lines
from rig_builders import GRAVITY

from rigcheck.studies.evaluate import evaluate, listed_modes
from rigcheck.studies.slack import line_pull

pytestmark = pytest.mark.evidence(
    what="Props on lines: pendulums, bifilar and trifilar hangs, V, taut line",
    source="Den Hartog, Thomson (from memory); closed forms",
    serves="check",
)

E, DIAMETER, DENSITY = 2.5e9, 1e-4, 1140.0  # nylon-monofilament, as in stock, and the thinnest of it
AREA, SECOND = np.pi / 4 * DIAMETER**2, np.pi / 64 * DIAMETER**4
MASS = 0.06
WEIGHT = MASS * GRAVITY
TORSION = 0.9e9 * 2 * 81 * SECOND  # GJ of the 0.3 mm line, which is clamped against twist at both ends
POINT = {"body": "", "centre": (0.0, 0.0, 0.0)}
INERTIA = MASS / 12 * np.array([0.04**2 + 0.03**2, 0.06**2 + 0.03**2, 0.06**2 + 0.04**2])


def settled(lines, **given):
    """The exact state; linear theory takes lines before they stretched."""
    task = task_on_lines(lines, **given)
    outcome = evaluate(task.rig, replace(task.settings, displacement="large"))
    assert outcome.solved[0]
    assert outcome.large[0]
    assert not outcome.slack.any()
    return outcome


def modes_of(outcome, axis):
    """Angular frequencies of the modes whose motion of the prop is mainly along one freedom of six, rising."""
    omega, shape = listed_modes(outcome)
    shape = np.abs(shape)
    shape[3:] *= 0.02  # about how far a turn moves the rim of these props
    mine = shape.argmax(axis=0) == axis
    # The lines' own vibration leaves the prop nearly still; a mode of the prop has a modal mass of about its own.
    return omega[mine & (shape.max(axis=0) > 0.3 / np.sqrt(MASS))]


def shortened(length, pull, ends=2, times=1):
    """Length that swings; the line is `times` the thinnest one in diameter."""
    return length - ends * times**2 * np.sqrt(E * SECOND / pull)


def stretched(length, pull, times=1):
    return length * (1 + pull / (E * AREA * times**2))


def test_simple_pendulum_and_bounce():
    # omega^2 = g / L (C. Huygens, 1673). A point of mass turns with its tip, so only the upper end is clamped.
    outcome = settled([Line(root=(0, 800, 0), tip=(0, 0, 0))], **POINT)
    length = shortened(stretched(0.8, WEIGHT), WEIGHT, ends=1)
    found, _ = listed_modes(outcome)
    np.testing.assert_allclose(found[:2], np.sqrt(GRAVITY / length), rtol=1e-4)
    # Bounce: omega^2 = (EA / L) / (m + rho A L / 3), the line's third counted (J. W. Strutt, Lord Rayleigh).
    wanted = np.sqrt(E * AREA / 0.8 / (MASS + DENSITY * AREA * 0.8 / 3))
    assert found[2] == pytest.approx(wanted, rel=1e-4)
    assert line_pull(outcome)[0, 0] == pytest.approx(WEIGHT + DENSITY * AREA * 0.8 * GRAVITY / 2, rel=1e-6)
    assert outcome.sag[0] == pytest.approx(
        0.8 * (WEIGHT + DENSITY * AREA * 0.8 * GRAVITY / 2) / (E * AREA), rel=1e-6
    )


@pytest.mark.parametrize("axis", [0, 2])
def test_prop_under_one_line_is_a_double_pendulum(axis):
    # Line of length L, prop of radius of gyration k hung h below its tip: swing x = L a + h b of the centre,
    # m L x'' = -m g L a, m (h x'' + k^2 b'') = -m g h b, so
    # |L^2 w - g L, L h w; L h w, (h^2 + k^2) w - g h| = 0 with w = omega^2.
    outcome = settled([Line(root=(0, 800, 0), tip=(0, 0, 0))])
    length, h = shortened(stretched(0.8, WEIGHT), WEIGHT), 0.02 + np.sqrt(E * SECOND / WEIGHT)
    k2 = INERTIA[2 if axis == 0 else 0] / MASS
    swing = np.array([[length**2, length * h], [length * h, h**2 + k2]])
    wanted = np.sqrt(1 / np.linalg.eigvals(np.linalg.solve(np.diag([GRAVITY * length, GRAVITY * h]), swing)))
    found, _ = listed_modes(outcome)
    for omega in wanted:
        assert np.min(np.abs(found / omega - 1)) < 3e-4


def test_two_parallel_lines_twist_as_a_bifilar_suspension():
    # Bifilar suspension: turned by a, each of two lines D apart leans by (D/2) a / L, so
    # omega^2 = m g (D/2)^2 / (I L).
    spread = 0.05
    ends = [(-25, 0, 0), (25, 0, 0)]
    outcome = settled([Line(root=(x, 700, z), tip=(x, 0, z)) for x, _, z in ends], diameter="0.3 mm")
    length = shortened(stretched(0.7, WEIGHT / 2, 3), WEIGHT / 2, times=3)
    (twist,) = modes_of(outcome, 4)[:1]
    stiff = WEIGHT * (spread / 2) ** 2 / length + 2 * TORSION / 0.7
    assert twist == pytest.approx(np.sqrt(stiff / INERTIA[1]), rel=5e-4)
    # Along the lines' plane the prop stays level and swings as a simple pendulum (thin lines would stretch unlike
    # and let it tilt, 0.4 % slower).
    (swing,) = modes_of(outcome, 0)[:1]
    assert swing == pytest.approx(np.sqrt(GRAVITY / length), rel=1e-3)
    own = DENSITY * 9 * AREA * 0.7 * GRAVITY
    np.testing.assert_allclose(line_pull(outcome), WEIGHT / 2 + own / 2, rtol=1e-4)


def test_three_parallel_lines_twist_as_a_trifilar_suspension():
    # Three lines on a circle of radius r: omega^2 = m g r^2 / (I L). Level to both sides it swings as g / L.
    radius = 0.02
    turns = np.deg2rad([90.0, 210.0, 330.0])
    ends = [(1e3 * radius * np.cos(turn), 1e3 * radius * np.sin(turn)) for turn in turns]
    lines = [Line(root=(x, 700, z), tip=(x, 0, z)) for x, z in ends]
    # Tied at the height of the centre of mass: below it, the unlike stretch of the lines would let it tilt.
    outcome = settled(lines, centre=(0.0, 0.0, 0.0), diameter="0.3 mm")
    pull = WEIGHT / 3
    length = shortened(stretched(0.7, pull, 3), pull, times=3)
    (twist,) = modes_of(outcome, 4)[:1]
    stiff = WEIGHT * radius**2 / length + 3 * TORSION / 0.7
    assert twist == pytest.approx(np.sqrt(stiff / INERTIA[1]), rel=5e-4)
    for axis in (0, 2):
        assert modes_of(outcome, axis)[0] == pytest.approx(np.sqrt(GRAVITY / length), rel=1e-3)
    own = DENSITY * 9 * AREA * 0.7 * GRAVITY
    np.testing.assert_allclose(line_pull(outcome), pull + own / 2, rtol=1e-4)


def test_two_lines_in_a_v():
    # Both lines at one point: each pulls m g / (2 cos a), a its angle from the vertical. Across their plane the prop
    # swings about the line through both roots, H above it: omega^2 = g / H. Up and down both stretch:
    # k = 2 (EA / L) cos^2 a; sideways k = 2 (EA / L) sin^2 a; each with N / L across it as well.
    height, half = 0.8, 0.3
    long, angle = np.hypot(height, half), np.arctan2(half, height)
    strong = {"diameter": "0.4 mm"}
    area = 16 * AREA
    outcome = settled([Line(root=(side * 300, 800, 0), tip=(0, 0, 0)) for side in (-1, 1)], **POINT, **strong)
    pull = WEIGHT / 2 / np.cos(angle)
    np.testing.assert_allclose(line_pull(outcome), pull, rtol=2e-3)
    axial, across = E * area / long, pull / long
    up = 2 * (axial * np.cos(angle) ** 2 + across * np.sin(angle) ** 2)
    side = 2 * (axial * np.sin(angle) ** 2 + across * np.cos(angle) ** 2)
    # The lines' own mass, 0.11 g each against 60 g, counts a third where they stretch.
    mass = MASS + 2 * DENSITY * area * long / 3
    found, _ = listed_modes(outcome)
    thick = np.sqrt(256 * E * SECOND / pull)
    swing = np.sqrt(GRAVITY / ((height + outcome.sag[0]) * (1 - thick / long)))
    for omega, tolerance in ((swing, 1e-3), (np.sqrt(up / mass), 3e-3), (np.sqrt(side / mass), 3e-3)):
        assert np.min(np.abs(found / omega - 1)) < tolerance


def test_a_prop_threaded_on_a_taut_line():
    # A mass between two lines of pull N and length L: sag m g L / (2 N) for a small one, and to and fro
    # omega^2 = 2 N / (m L). The sag tightens the line: N grows by EA (sag / L)^2 / 2.
    length, tension, mass = 0.5, 6.0, 1e-3
    outcome = settled(
        [Line(root=(side * 500, 0, 0), tip=(0, 0, 0), tension=tension) for side in (-1, 1)],
        **POINT,
        mass="1 g",
    )
    sag = outcome.sag[0]
    end = np.sqrt(E * SECOND / tension)
    pull = tension + E * AREA * (sag / length) ** 2 / 2
    own = DENSITY * AREA * length
    assert sag == pytest.approx((mass + own) * GRAVITY * (length - 2 * end) / (2 * pull), rel=3e-3)
    omega, shape = listed_modes(outcome)
    away = omega[np.abs(shape[2]) > 0.5 * np.abs(shape[2]).max()][0]
    # The moving lines bring a third of their mass.
    wanted = np.sqrt(2 * pull / ((length - 2 * end) * (mass + 2 * own / 3)))
    assert away == pytest.approx(wanted, rel=2e-3)
