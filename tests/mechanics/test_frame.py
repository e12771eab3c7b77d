"""The assembled frame: symmetry, invariance, batches, and loads by direct integration over the wire."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig_builders import (
    GRAVITY,
    HELD,
    make_prop,
    make_support,
    moved,
    round_line,
    stack,
    straight,
    strip_line,
)
from scipy.spatial.transform import Rotation

from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Base, Frame, cross_matrix
from rigcheck.mechanics.modes import natural_modes
from rigcheck.mechanics.statics import settle

WIRE = round_line(2e-3)
SLEEVE = round_line(3e-3, bore=2e-3, youngs_modulus=105e9, shear_modulus=39e9, density=8500)
STRIP = strip_line(12e-3, 1.5e-3)
TILT = Rotation.from_rotvec([0.5, -0.3, 0.8]).as_matrix()
INERTIA = TILT @ np.diag([2e-4, 3e-4, 4e-4]) @ TILT.T
WEIGHT = np.array([0.0, -GRAVITY, 0.0])


def bent(*, root_stiffness=(np.inf, 8.0, 20.0), joint_stiffness=None, line=WIRE):
    """A bent wire with a sleeve at its root, clamped in turned axes, and an eccentric prop."""
    support = make_support(
        [[0, 0, -0.2], [0, 0.01, -0.1], [0.02, 0.04, 0]],
        [line.plus(SLEEVE), line],
        root_stiffness=root_stiffness,
        root_axes=TILT,
        joint_stiffness=joint_stiffness,
        width_direction=[[0.3, 1, 0.1], [0.3, 1, 0.1]],
    )
    return support, make_prop(0.3, [0.03, 0.05, 0.02], INERTIA)


def pair(*, joint_stiffness=(3.0, 5.0, 9.0)):
    """Two bent wires into one prop."""
    first, prop = bent()
    second = make_support(
        [[0.06, 0, -0.22], [0.05, 0.0, -0.04], [0.03, 0.02, 0]], WIRE, joint_stiffness=joint_stiffness
    )
    return [first, second], prop


def figures(supports, prop, weight=WEIGHT, *, count=6, order=None):
    """Settled movement of the prop and its lowest frequencies [rad/s], gravity in the stiffness."""
    frame = Frame(supports, prop, order)
    settled = settle(frame, frame.inertial_load(weight))
    return settled.state[:, :6], natural_modes(frame, settled.stiffness, count).angular_frequency


def test_cross_matrix_is_the_cross_product():
    rng = np.random.default_rng(1)
    a, b = rng.normal(size=(2, 4, 3))
    np.testing.assert_allclose(np.einsum("nij,nj->ni", cross_matrix(a), b), np.cross(a, b), atol=1e-15)


def test_local_axes_are_right_handed_and_follow_the_width():
    support, prop = bent(line=STRIP)
    along = make_support([[0, 0, 0], [0, 0.3, 0]], WIRE)
    for frame in (Frame([support], prop), Frame([along], prop)):
        for element in frame.elements:
            np.testing.assert_allclose(element.axes[0] @ element.axes[0].T, np.eye(3), atol=1e-14)
            assert np.linalg.det(element.axes[0]) == pytest.approx(1)
    strip = Frame([support], prop).elements[0].axes[0]
    width = np.array([0.3, 1, 0.1])
    assert width @ strip[2] == pytest.approx(0, abs=1e-14)
    assert width @ strip[1] > 0


@pytest.mark.parametrize("order", [Order(), Order(shear=None), Order(bending=2, shear=1, axial=1, torsion=1)])
def test_matrices_are_symmetric_and_definite(order):
    frame = Frame(*pair(), order)
    for matrix in (frame.stiffness[0], frame.mass[0]):
        assert np.abs(matrix - matrix.T).max() <= 1e-12 * np.abs(matrix).max()
        # Scaled to a unit diagonal: only the sign is asked, and lengths and turns have different units.
        scale = 1 / np.sqrt(np.diag(matrix))
        assert np.linalg.eigvalsh(matrix * scale * scale[:, None])[0] > 0


def test_a_joint_spring_that_is_stiff_is_a_rigid_joint():
    loose, firm = bent(joint_stiffness=(1e7, 1e7, 1e7)), bent()
    moved_loose, tone_loose = figures([loose[0]], loose[1])
    moved_firm, tone_firm = figures([firm[0]], firm[1])
    # EI/L is about 1 N m/rad, so 1e7 leaves an error of 1e-7.
    np.testing.assert_allclose(moved_loose, moved_firm, rtol=1e-5, atol=1e-9)
    np.testing.assert_allclose(tone_loose, tone_firm, rtol=1e-6)


def test_a_root_spring_that_is_stiff_is_a_rigid_root():
    loose, firm = bent(root_stiffness=(1e8, 1e8, 1e8)), bent(root_stiffness=HELD)
    moved_loose, tone_loose = figures([loose[0]], loose[1])
    moved_firm, tone_firm = figures([firm[0]], firm[1])
    np.testing.assert_allclose(moved_loose, moved_firm, rtol=1e-5, atol=1e-9)
    np.testing.assert_allclose(tone_loose, tone_firm, rtol=1e-6)


def test_cutting_a_segment_in_two_changes_nothing():
    """Exact in statics; in modes as far as both have converged."""
    support, prop = straight(WIRE, 0.2, mass=0.2, reach=0.02, inertia=INERTIA)
    cut = make_support([[0, 0, 0], [0.07, 0, 0], [0.2, 0, 0]], WIRE)
    one, tone = figures([support], prop, [0.3, -9.8, 1])
    two, tones = figures([cut], prop, [0.3, -9.8, 1])
    np.testing.assert_allclose(two, one, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(tones, tone, rtol=1e-6)


def test_a_head_that_turns_carries_the_roots_along():
    """A wire of length L whose root lies e ahead of the head's centre: the head's spring k adds W (L +
    e)^2/k."""
    line = round_line(3e-3)
    support = make_support([[0, 0, 0], [0, 0, 0.2]], line)
    prop = make_prop(0.3, [0, 0, 0.2])
    head = Base(point=np.array([[0.0, 0.0, -0.1]]), stiffness=np.array([[50.0, 40.0, 30.0]]))
    field = [2.0, -GRAVITY, 0]
    rigid, turning = Frame([support], prop), Frame([support], prop, base=head)
    first, second = (
        settle(frame, frame.inertial_load(field), load_stiffens=False) for frame in (rigid, turning)
    )
    own = line.mass_per_length * 0.2
    for axis, spring in ((0, 40.0), (1, 50.0)):
        moment = (0.3 * 0.3 + own * 0.2) * field[axis]
        more = second.state[0, axis] - first.state[0, axis]
        assert more == pytest.approx(moment * 0.3 / spring, rel=1e-8)
    np.testing.assert_allclose(second.root_force[0], first.root_force[0], rtol=1e-8, atol=1e-10)
    np.testing.assert_allclose(second.root_moment[0], first.root_moment[0], rtol=1e-8, atol=1e-10)
    # A point mass on the rigid wire alone would turn with sqrt(k/(m r^2)): in series with the wire
    # (Dunkerley, exact for one mass but for the wire's 11 g, which is 1 % of the frequency).
    wire = 3 * line.bending_stiffness_z / 0.2**3
    series = 1 / (1 / wire + 0.3**2 / 50.0)
    found = natural_modes(turning, turning.stiffness, 2).angular_frequency[0]
    assert np.min(np.abs(found / np.sqrt(series / 0.3) - 1)) < 0.01


def test_a_stiff_head_is_a_rigid_one():
    supports, prop = pair()
    head = Base(point=np.array([[0.0, 0.0, -0.3]]), stiffness=np.full((1, 3), 1e9))
    rigid, turning = Frame(supports, prop), Frame(supports, prop, base=head)
    one, two = (natural_modes(frame, frame.stiffness, 6).angular_frequency for frame in (rigid, turning))
    np.testing.assert_allclose(two, one, rtol=1e-6)


# -- loads ------------------------------------------------------------------------------------------------


def virtual_work(frame, field, state):
    """int a . u dm of a field of acceleration over wires and prop, by quadrature of the centre lines."""
    nodes, weights = np.polynomial.legendre.leggauss(16)
    places, weights = (nodes + 1) / 2, weights / 2
    rows = frame.basis.fields(places).displacement
    work = 0.0
    seen = {}
    for element in frame.elements:
        support = frame.supports[element.support]
        segment = seen.get(element.support, 0)
        seen[element.support] = segment + 1
        ends = support.points[0, segment : segment + 2]
        spots = ends[0] + places[:, None] * (ends[1] - ends[0])
        local = rows @ frame.element_vector(element, state)[0]
        moves = local @ element.axes[0]
        mass = support.mass_per_length[0, segment] * element.length[0]
        work += mass * np.sum(weights * np.sum(field(spots) * moves, axis=1))
    # The prop as six point masses with its mass and inertia: m/6 at +-s on each principal axis of its planar
    # moments P = tr(I)/2 - I, with 2 (m/6) s^2 = P.
    mass, centre, inertia = frame.prop.mass[0], frame.prop.centre_of_mass[0], frame.prop.inertia[0]
    planar, axes = np.linalg.eigh(np.trace(inertia) / 2 * np.eye(3) - inertia)
    for value, axis in zip(planar, axes.T, strict=True):
        for side in (-1, 1):
            arm = side * np.sqrt(3 * value / mass) * axis
            move = state[0, :3] + np.cross(state[0, 3:6], arm)
            work += mass / 6 * field((centre + arm)[None])[0] @ move
    return work


@pytest.mark.parametrize("kind", ["uniform", "Euler", "centrifugal"])
def test_inertial_load_against_direct_integration(kind):
    spin, about = np.array([3.0, -5.0, 2.0]), np.array([0.05, -0.02, 0.1])
    offset = np.array([0.5, -9.8, 1.2])
    matrix = {
        "uniform": np.zeros((3, 3)),
        "Euler": cross_matrix(spin),
        "centrifugal": cross_matrix(spin) @ cross_matrix(spin),
    }[kind]
    supports, prop = pair()
    frame = Frame(supports, prop)
    load = frame.inertial_load(offset, matrix[None], about[None])

    def field(spots):
        return offset + (spots - about) @ matrix.T

    rng = np.random.default_rng(5)
    for _ in range(4):
        state = rng.normal(size=(1, frame.size))
        state[:, 6:] *= 0.1
        expected = virtual_work(frame, field, state)
        # The quadrature leaves out the couple on the sections themselves, (d/L)^2/16 = 2e-5 of the rest here.
        tolerance = 1e-11 if kind == "uniform" else 1e-4
        assert (load[0] @ state[0]) == pytest.approx(expected, rel=tolerance)


def test_euler_load_of_a_turning_ground_is_the_mass_times_a_rigid_turn():
    """About the root of a straight wire the Euler field is a rigid movement, sections included (derived
    here)."""
    turn = np.array([0.4, -1.1, 0.7])
    support, prop = straight(WIRE, 0.15, mass=0.1, reach=0.03, inertia=INERTIA)
    free = replace(support, root_stiffness=np.ones((1, 3)))
    frame = Frame([free], prop)
    load = frame.inertial_load(np.zeros(3), cross_matrix(turn)[None])
    state = np.zeros((1, frame.size))
    state[0, :3] = np.cross(turn, prop.centre_of_mass[0])
    state[0, 3:6] = state[0, 6:9] = turn
    np.testing.assert_allclose(load[0], frame.mass[0] @ state[0], rtol=1e-12, atol=1e-15)


def test_weight_of_everything():
    supports, prop = pair()
    frame = Frame(supports, prop)
    settled = settle(frame, frame.inertial_load(WEIGHT), load_stiffens=False)
    mass = prop.mass[0]
    moment = np.cross(prop.centre_of_mass[0], prop.mass[0] * WEIGHT)
    for support in supports:
        for segment in range(support.segments):
            a, b = support.points[0, segment : segment + 2]
            own = support.mass_per_length[0, segment] * np.linalg.norm(b - a)
            mass += own
            moment = moment + np.cross((a + b) / 2, own * WEIGHT)
    force = sum(settled.root_force)[0]
    couple = sum(
        turn[0] + np.cross(support.root[0], push[0])
        for support, push, turn in zip(supports, settled.root_force, settled.root_moment, strict=True)
    )
    # The wire carries forces a thousand times the weight's share in axial stiffness: 1e-16 times 1e6.
    np.testing.assert_allclose(force, -mass * WEIGHT, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(couple, -moment, rtol=1e-8, atol=1e-9)


# -- invariance -------------------------------------------------------------------------------------------

angles = st.floats(-3.1, 3.1)


@given(angle=angles)
def test_turning_the_rig_about_the_vertical_turns_the_answer(angle):
    supports, prop = pair(joint_stiffness=(4.0, 4.0, 4.0))
    turn = Rotation.from_rotvec([0, angle, 0]).as_matrix()
    state, tone = figures(supports, prop)
    shift = (0.3, 0.1, -2)
    other, tones = figures([moved(support, turn, shift) for support in supports], moved(prop, turn, shift))
    expected = np.concatenate([state[0, :3] @ turn.T, state[0, 3:] @ turn.T])
    # Cutting two lengths of the order of metres for 10 mm offsets loses a few digits, amplified by EA L^2/EI.
    np.testing.assert_allclose(other[0], expected, atol=1e-9 * np.abs(expected).max())
    np.testing.assert_allclose(tones, tone, rtol=1e-9)


@given(turn=st.tuples(angles, angles, angles))
def test_turning_rig_and_gravity_together_turns_the_answer(turn):
    supports, prop = pair(joint_stiffness=(4.0, 4.0, 4.0))
    matrix = Rotation.from_rotvec(turn).as_matrix()
    state, tone = figures(supports, prop)
    other, tones = figures(
        [moved(support, matrix) for support in supports], moved(prop, matrix), matrix @ WEIGHT
    )
    expected = np.concatenate([state[0, :3] @ matrix.T, state[0, 3:] @ matrix.T])
    np.testing.assert_allclose(other[0], expected, atol=1e-9 * np.abs(expected).max())
    np.testing.assert_allclose(tones, tone, rtol=1e-9)


@pytest.mark.parametrize("line", [WIRE, STRIP], ids=["round", "strip"])
def test_a_mirrored_rig_mirrors(line):
    support, prop = bent(line=line)
    mirror = np.diag([-1.0, 1, 1])
    state, tone = figures([support], prop)
    other, tones = figures([moved(support, mirror)], moved(prop, mirror))
    expected = np.concatenate(
        [mirror @ state[0, :3], -mirror @ state[0, 3:]]
    )  # a rotation is an axial vector
    np.testing.assert_allclose(other[0], expected, atol=1e-10 * np.abs(expected).max())
    np.testing.assert_allclose(tones, tone, rtol=1e-10)


@given(scale=st.floats(0.2, 5.0))
def test_a_rig_of_another_scale_of_the_same_material(scale):
    """Lengths times s: masses s^3, inertia s^5; under a gravity of g/s sag grows s, frequencies fall 1/s.

    Derived here from the dimensions of EI ~ s^4, EA ~ s^2, rho A ~ s^2; then strains stay the same.
    """

    def rig(s):
        line = round_line(2e-3 * s)
        support = make_support(
            np.array([[0, 0, -0.2], [0, 0.01, -0.1], [0.02, 0.04, 0]]) * s,
            line,
            root_stiffness=[np.inf, 8 * s**3, np.inf],
        )
        return support, make_prop(0.3 * s**3, np.array([0.03, 0.05, 0.02]) * s, INERTIA * s**5)

    support, prop = rig(1.0)
    state, tone = figures([support], prop)
    support, prop = rig(scale)
    other, tones = figures([support], prop, WEIGHT / scale)
    np.testing.assert_allclose(other[0, :3], state[0, :3] * scale, rtol=1e-8)
    np.testing.assert_allclose(other[0, 3:], state[0, 3:], rtol=1e-8)
    np.testing.assert_allclose(tones, tone / scale, rtol=1e-9)


@given(places=st.tuples(st.integers(0, 5), st.integers(0, 5)))
def test_movement_and_force_may_change_places(places):
    """Maxwell's reciprocity: the movement at i by a unit force at j equals that at j by one at i."""
    i, j = places
    frame = Frame(*pair())
    unit = np.zeros((2, frame.size))
    unit[0, i] = unit[1, j] = 1.0
    one, two = (settle(frame, part[None], load_stiffens=False).state[0] for part in unit)
    size = np.sqrt(abs(one[i] * two[j]))
    assert one[j] == pytest.approx(two[i], rel=1e-9, abs=1e-9 * size)


# -- batches ----------------------------------------------------------------------------------------------


def variants():
    """Straight wires of one layout whose roots are rigid, half rigid and flexible."""
    roots = [HELD, (np.inf, 0.5, 2.0), (3.0, 0.5, np.inf), (1.0, 2.0, 3.0), HELD]
    supports, props = [], []
    for number, root in enumerate(roots):
        line = round_line(1e-3 * (1 + number / 2))
        support, prop = straight(
            line, 0.1 + 0.03 * number, mass=0.05 + 0.02 * number, reach=0.01, inertia=INERTIA
        )
        supports.append(replace(support, root_stiffness=np.array([root])))
        props.append(prop)
    return supports, props


def test_a_variant_in_a_batch_equals_the_variant_alone():
    """Rigid and flexible roots mixed: a rigid root must be rigid, not a stiff spring."""
    supports, props = variants()
    field = [1.0, -9.8, 0.5]
    together, tones = figures([stack(supports)], stack(props), field)
    for number, (support, prop) in enumerate(zip(supports, props, strict=True)):
        alone, tone = figures([support], prop, field)
        np.testing.assert_allclose(together[number], alone[0], rtol=1e-10, atol=1e-16)
        np.testing.assert_allclose(tones[number], tone[0], rtol=1e-10)


def test_bent_pairs_in_a_batch():
    rng = np.random.default_rng(7)
    rigs = []
    for _ in range(4):
        turn = Rotation.from_rotvec(rng.normal(size=3)).as_matrix()
        supports, prop = pair()
        rigs.append(([moved(support, turn) for support in supports], moved(prop, turn)))
    supports = [stack([rig[0][place] for rig in rigs]) for place in (0, 1)]
    together, tones = figures(supports, stack([rig[1] for rig in rigs]))
    for number, (alone, prop) in enumerate(rigs):
        state, tone = figures(alone, prop)
        np.testing.assert_allclose(together[number], state[0], rtol=1e-10, atol=1e-10 * np.abs(state).max())
        np.testing.assert_allclose(tones[number], tone[0], rtol=1e-10)


def test_element_vector_of_many_states():
    frame = Frame(*pair())
    states = np.random.default_rng(3).normal(size=(1, frame.size, 4))
    for element in frame.elements:
        many = frame.element_vector(element, states)
        assert many.shape == (1, frame.basis.size, 4)
        for column in range(4):
            alone = frame.element_vector(element, states[..., column])
            np.testing.assert_allclose(many[..., column], alone, rtol=1e-12, atol=1e-15)
