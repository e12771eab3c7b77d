"""The settled state: section forces, reactions, pretension, and the tension that a load brings."""

import numpy as np
import pytest
from exact_beams import Beam
from hypothesis import given
from hypothesis import strategies as st
from rig_builders import GRAVITY, make_prop, make_support, round_line, stack, straight

from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Frame
from rigcheck.mechanics.statics import section_forces, settle

STATIONS = np.array([0.0, 0.13, 0.5, 0.77, 1.0])
ORDERS = {
    "shear": Order(),
    "slender": Order(shear=None),
    "least": Order(bending=2, shear=1, axial=1, torsion=1),
}


@pytest.fixture(params=list(ORDERS.values()), ids=list(ORDERS))
def order(request):
    return request.param


def loaded(order, field=(3.0, -GRAVITY, 2.0)):
    """A horizontal wire along +x with its centre of mass 20 mm beyond the tip, first-order theory."""
    line = round_line(3e-3)
    support, prop = straight(line, 0.18, mass=0.31, reach=0.02)
    frame = Frame([support], prop, order)
    return frame, settle(frame, frame.inertial_load(field), load_stiffens=False), line


def test_section_forces_of_a_cantilever(order):
    """Shear, moment and tension at any station by equilibrium of what lies beyond it (derived here)."""
    field = np.array([3.0, -GRAVITY, 2.0])
    frame, settled, line = loaded(order, field)
    forces = section_forces(frame, settled.state, STATIONS)[0]
    beyond = 0.18 * (1 - STATIONS)
    load = 0.31 + line.mass_per_length * beyond
    arm = 0.31 * (beyond + 0.02) + line.mass_per_length * beyond**2 / 2
    # M = sum r x f with r along x: M_y = -x f_z, M_z = x f_y. Local axes are x, y, z here.
    for found, expected in (
        (forces.axial, load * field[0]),
        (forces.shear_y, load * field[1]),
        (forces.shear_z, load * field[2]),
        (forces.moment_y, -arm * field[2]),
        (forces.moment_z, arm * field[1]),
    ):
        np.testing.assert_allclose(found[0], expected, rtol=1e-9)
    np.testing.assert_allclose(forces.torque[0], 0, atol=1e-12)


def test_section_forces_do_not_depend_on_the_other_stations(order):
    frame, settled, _ = loaded(order)
    fine = section_forces(frame, settled.state, np.linspace(0, 1, 41))[0]
    for place in (0, 17, 40):
        alone = section_forces(frame, settled.state, np.array([place / 40]))[0]
        for name in ("axial", "torque", "moment_y", "moment_z", "shear_y", "shear_z"):
            assert getattr(alone, name)[0, 0] == pytest.approx(
                getattr(fine, name)[0, place], rel=1e-9, abs=1e-12
            )


def test_section_forces_of_many_states():
    frame, settled, _ = loaded(Order())
    states = np.stack([settled.state, -2 * settled.state], axis=2)
    many = section_forces(frame, states, STATIONS)[0]
    one = section_forces(frame, settled.state, STATIONS)[0]
    assert many.moment_z.shape == (1, 5, 2)
    np.testing.assert_allclose(many.moment_z[..., 1], -2 * one.moment_z, rtol=1e-14)


def test_torque_of_an_eccentric_prop():
    """A mass 50 mm to the side twists the wire with m g e (derived here)."""
    support = make_support([[0, 0, 0], [0.2, 0, 0]], round_line(3e-3))
    frame = Frame([support], make_prop(0.2, [0.2, 0, 0.05]))
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]), load_stiffens=False)
    forces = section_forces(frame, settled.state, STATIONS)[0]
    np.testing.assert_allclose(forces.torque[0], 0.2 * GRAVITY * 0.05, rtol=1e-10)
    assert settled.root_moment[0][0, 0] == pytest.approx(-0.2 * GRAVITY * 0.05)
    # The side that the weight is on goes down: a turn about +x carries +z toward -y.
    assert settled.state[0, 3] == pytest.approx(0.2 * GRAVITY * 0.05 * 0.2 / 77e9 / (np.pi / 32 * 3e-3**4))


def test_root_and_tip_forces(order):
    _, settled, line = loaded(order)
    field = np.array([3.0, -GRAVITY, 2.0])
    own = line.mass_per_length * 0.18
    np.testing.assert_allclose(settled.tip_force[0][0], 0.31 * field, rtol=1e-9)
    np.testing.assert_allclose(settled.root_force[0][0], -(0.31 + own) * field, rtol=1e-9)
    expected = -np.cross([0.2, 0, 0], 0.31 * field) - np.cross([0.09, 0, 0], own * field)
    np.testing.assert_allclose(settled.root_moment[0][0], expected, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(settled.tension[0][0], field[0] * np.array([0.31 + own, 0.31]), rtol=1e-9)
    assert settled.buckling_factor[0] == np.inf


@pytest.mark.parametrize("spring", [np.inf, 0.05])
def test_forces_of_a_hanging_wire_pushed_aside_balance_in_fixed_axes(spring):
    """The wire leans, so most of the side force at the tip is its tension: equilibrium in fixed axes.

    The moment at the root is the side forces times their arms less the weights times their side movement
    (derived here); the reference movement is the initial value solution.
    """
    line = round_line(1e-3)
    support, prop = straight(
        line, 0.3, mass=0.3, reach=0.02, along=(0, -1, 0), root_stiffness=(spring, np.inf, spring)
    )
    frame = Frame([support], prop, Order(bending=12, shear=10))
    push = 0.02 * GRAVITY
    settled = settle(frame, frame.inertial_load([push, -GRAVITY, 0]))
    own = line.mass_per_length * 0.3
    # Forces come from derivatives of the solution, which converge last: 1e-3 of the side force here.
    np.testing.assert_allclose(settled.tip_force[0][0, :2], [0.3 * push, -0.3 * GRAVITY], rtol=1e-3)
    np.testing.assert_allclose(
        settled.root_force[0][0, :2], [-(0.3 + own) * push, (0.3 + own) * GRAVITY], rtol=1e-3
    )
    beam = Beam(
        flexural_rigidity=line.bending_stiffness_z,
        free_length=0.3,
        mass_per_length=line.mass_per_length,
        shear_stiffness=line.shear_stiffness_y,
        reach=0.02,
        root_stiffness=spring,
        tip_pull=0.3 * GRAVITY,
        own_pull=line.mass_per_length * GRAVITY,
    )
    exact = beam.settled(line.mass_per_length * push, 0.3 * push, [0.0, 1.0])
    # x to the right across a wire that runs down: turning toward +x is a turn about +z.
    assert settled.state[0, 0] == pytest.approx(exact[0, 1] + 0.02 * exact[1, 1], rel=1e-8)
    assert settled.state[0, 5] == pytest.approx(exact[1, 1], rel=1e-7)
    assert abs(settled.root_moment[0][0, 2]) == pytest.approx(abs(exact[2, 0]), rel=1e-5)


def test_without_the_load_in_the_stiffness_a_hanging_wire_is_softer():
    line = round_line(1e-3)
    support, prop = straight(line, 0.3, mass=0.3, along=(0, -1, 0))
    frame = Frame([support], prop)
    load = frame.inertial_load([0.1, -GRAVITY, 0])
    first, second = (settle(frame, load, load_stiffens=flag) for flag in (False, True))
    force = 0.3 * 0.1 + line.mass_per_length * 0.3 * 0.1 * 3 / 8
    assert first.state[0, 0] == pytest.approx(force * 0.3**3 / 3 / line.bending_stiffness_z, rel=1e-4)
    assert second.state[0, 0] < 0.2 * first.state[0, 0]
    assert first.stiffness is frame.stiffness


def test_a_load_past_buckling_is_reported_as_such():
    line = round_line(1e-3)
    support, prop = straight(line, 0.3, mass=0.3, along=(0, 1, 0))
    frame = Frame([support], prop)
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]))
    euler = np.pi**2 * line.bending_stiffness_z / (4 * 0.3**2)
    assert settled.buckling_factor[0] == pytest.approx(
        euler / (0.3 * GRAVITY), rel=0.01
    )  # own weight adds 0.2 %
    assert not settled.stable[0]


def test_one_unstable_variant_leaves_the_others_of_its_batch_alone():
    line = round_line(1e-3)
    rigs = [straight(line, length, mass=0.1, along=(0, 1, 0)) for length in (0.1, 0.5)]
    frame = Frame([stack([rig[0] for rig in rigs])], stack([rig[1] for rig in rigs]))
    settled = settle(frame, frame.inertial_load([0.01, -GRAVITY, 0]))
    assert settled.stable.tolist() == [True, False]
    # What is past buckling keeps its elastic stiffness, so that modes can still be taken of the whole batch.
    np.testing.assert_array_equal(settled.stiffness[1], frame.stiffness[1])
    assert np.linalg.eigvalsh(settled.stiffness[1])[0] > 0
    alone = Frame([rigs[0][0]], rigs[0][1])
    expected = settle(alone, alone.inertial_load([0.01, -GRAVITY, 0]))
    np.testing.assert_allclose(settled.state[0], expected.state[0], rtol=1e-10, atol=1e-18)


def taut(tension, *, mass=0.05, half=0.4, diameter=0.5e-3):
    """Two collinear wires pulled taut, held by ball ends at both roots, with a point mass between them."""
    line = round_line(diameter)
    free = (np.inf, 0.0, 0.0)
    ends = [
        make_support([[side * half, 0, 0], [0, 0, 0]], line, root_stiffness=free, tension=tension)
        for side in (-1, 1)
    ]
    return ends, make_prop(mass, [0, 0, 0], [1e-9, 1e-9, 1e-9]), line


def test_sag_of_a_taut_line():
    """A string with a weight at mid length sags W L/(4 N) for L from end to end (derived here from
    statics)."""
    ends, prop, line = taut(100.0)
    frame = Frame(ends, prop, Order(bending=24, shear=None))
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]))
    string = (0.05 * GRAVITY * 0.8 / 4 + line.mass_per_length * GRAVITY * 0.8**2 / 8) / 100
    # The bend under the weight is rounded over sqrt(EI/N) = 2.5 mm on each side, 0.6 % of the half length.
    width = np.sqrt(line.bending_stiffness_y / 100)
    rounded = 0.05 * GRAVITY / 2 / 100 * width
    assert -settled.state[0, 1] == pytest.approx(string - rounded, rel=1e-4)


def test_pulled_tension_is_part_of_the_forces():
    ends, prop, line = taut(100.0)
    # N L^2/EI is 26,000: the default order does not resolve the bends at the ends.
    frame = Frame(ends, prop, Order(bending=26, shear=20))
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]))
    np.testing.assert_allclose(settled.tension, 100.0, rtol=1e-9)
    # Each root pulls its own wire outward.
    assert [force[0, 0] for force in settled.root_force] == pytest.approx([-100.0, 100.0])
    weight = (0.05 + 0.8 * line.mass_per_length) * GRAVITY
    # Free to turn, the wire leaves its root at a slope: the pull's share carries the weight.
    assert sum(force[0, 1] for force in settled.root_force) == pytest.approx(weight, rel=0.01)


@given(scale=st.floats(-3.0, 3.0), field=st.tuples(*[st.floats(-20, 20)] * 3))
def test_first_order_theory_is_linear(scale, field):
    line = round_line(2e-3)
    support, prop = straight(line, 0.18, mass=0.31, reach=0.02)
    frame = Frame([support], prop)
    one = settle(frame, frame.inertial_load(field), load_stiffens=False).state
    other = settle(frame, scale * frame.inertial_load(field), load_stiffens=False).state
    np.testing.assert_allclose(other, scale * one, rtol=1e-12, atol=1e-14)
