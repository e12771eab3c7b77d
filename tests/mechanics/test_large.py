"""Large displacement: derivatives, agreement with the linear engine, buckling, honesty about what was not
found."""

from dataclasses import fields, replace

import numpy as np
import pytest
from rig_builders import (
    GRAVITY,
    make_prop,
    make_support,
    moved,
    require_settled,
    round_line,
    stack,
    straight,
    strip_line,
)

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.frame import Frame
from rigcheck.mechanics.lanczos import motion_of
from rigcheck.mechanics.large import MovedFrame, elements_for, large_modes, settle_large
from rigcheck.mechanics.linear_rods import linear_step
from rigcheck.mechanics.load_steps import condensed, newton_step
from rigcheck.mechanics.modes import natural_modes
from rigcheck.mechanics.rods import Rods
from rigcheck.mechanics.statics import section_forces, settle
from rigcheck.mechanics.turns import (
    from_vector,
    logarithm_derivatives,
    product,
    rotation_matrix,
    rotation_vector,
    slope_and_bend,
    spin_map,
)

DOWN = np.array([0.0, -GRAVITY, 0.0])
WIRE = round_line(0.002)
INERTIA = (4e-5, 3e-5, 5e-5)


def bent():
    lines = [strip_line(0.006, 0.001), round_line(0.003)]
    support = make_support(
        [[0, 0, 0], [0.1, 0, 0], [0.1, 0.02, 0.12]],
        lines,
        width_direction=[0, 0.3, 1.0],
        root_stiffness=(30, 10, 20),
        joint_stiffness=(3.0, 4.0, 5.0),
    )
    return [support], make_prop(0.1, [0.1, 0.03, 0.13], INERTIA)


def sleeved():
    support = make_support(
        [[0, 0, 0], [0.09, 0, 0], [0.18, 0, 0]], [WIRE.plus(round_line(0.004, bore=0.0031)), WIRE]
    )
    return [support], make_prop(0.1, [0.18, 0.0, 0.01], INERTIA)


def two_supports():
    first = make_support([[0, 0, 0], [0.2, 0, 0]], WIRE)
    second = make_support(
        [[0, 0.03, 0.05], [0.1, 0.03, 0.05], [0.2, 0.02, 0.03]], WIRE, root_stiffness=(3.0, 5.0, 7.0)
    )
    return [first, second], make_prop(0.1, [0.21, 0.01, 0.01], INERTIA)


def taut():
    left = make_support([[0, 0, 0], [0.2, 0, 0]], WIRE, tension=20.0)
    right = make_support([[0.43, 0, 0], [0.23, 0, 0]], WIRE, tension=20.0)
    return [left, right], make_prop(0.1, [0.22, -0.01, 0.0], INERTIA)


def unbalanced():
    """Pulls that do not cancel, off the centre of mass, and a corner: forces and a couple hold the shape."""
    left = make_support([[0, 0, 0], [0.12, 0.01, 0], [0.2, 0, 0]], WIRE, tension=20.0)
    right = make_support([[0.43, 0.1, 0], [0.23, 0, 0.01]], WIRE, tension=10.0)
    return [left, right], make_prop(0.1, [0.22, -0.01, 0.0], INERTIA)


def stubby():
    """Short and thick with a light prop: shear and the rotary inertia of the section count."""
    support, prop = straight(
        strip_line(0.03, 0.02), 0.12, mass=0.01, inertia=(1e-7, 1e-7, 1e-7), width_direction=[0, 1.0, 0]
    )
    return [support], prop


def one_straight():
    support, prop = straight(
        round_line(0.003), 0.2, mass=0.3, reach=0.02, inertia=INERTIA, root_stiffness=(30, np.inf, 20)
    )
    return [support], prop


LAYOUTS = {
    "straight": one_straight,
    "bent": bent,
    "sleeved": sleeved,
    "two": two_supports,
    "taut": taut,
    "unbalanced": unbalanced,
    "stubby": stubby,
}


# -- finite rotations --------------------------------------------------------------------------------------


def test_turns_agree_with_scipy():
    from scipy.spatial.transform import Rotation

    rng = np.random.default_rng(3)
    vectors = rng.standard_normal((20, 3))
    ours = from_vector(vectors)
    theirs = Rotation.from_rotvec(vectors)
    np.testing.assert_allclose(rotation_matrix(ours), theirs.as_matrix(), atol=1e-14)
    np.testing.assert_allclose(rotation_vector(ours), theirs.as_rotvec(), atol=1e-13)
    np.testing.assert_allclose(rotation_vector(-ours), theirs.as_rotvec(), atol=1e-13)
    both = rotation_matrix(product(ours[:10], ours[10:]))
    np.testing.assert_allclose(both, (theirs[:10] * theirs[10:]).as_matrix(), atol=1e-14)


@pytest.mark.parametrize("size", [0.0, 1e-9, 1e-3, 1.0, 3.0])
def test_derivatives_of_turns(size):
    # Central differences: error of about h^2 = 1e-10 plus rounding 1e-16 / h^2 in the second derivatives.
    rng = np.random.default_rng(4)
    vector = rng.standard_normal(3)
    vector *= size / np.linalg.norm(vector)
    axes = np.linalg.qr(rng.standard_normal((3, 3)))[0][:, :2]
    moments = np.eye(3)
    first, second = slope_and_bend(np.broadcast_to(vector, (3, 3)), np.broadcast_to(axes, (3, 3, 2)), moments)
    first = first[0]
    here, h = from_vector(vector), 1e-4

    def away(step):
        return rotation_vector(product(from_vector(vector + axes @ step), here * np.array([1, -1, -1, -1])))

    eye = np.eye(2) * h
    for i in range(2):
        np.testing.assert_allclose((away(eye[i]) - away(-eye[i])) / (2 * h), first[:, i], atol=1e-8)
        for j in range(2):
            mixed = (
                away(eye[i] + eye[j]) - away(eye[i] - eye[j]) - away(eye[j] - eye[i]) + away(-eye[i] - eye[j])
            ) / (4 * h * h)
            np.testing.assert_allclose(mixed, second[:, i, j], atol=1e-6)
    angle, slope, bend = logarithm_derivatives(here)
    wanted = rotation_vector(here)
    np.testing.assert_allclose(angle, wanted, atol=1e-12)
    way = spin_map(here)

    def turned(spin):
        return rotation_vector(product(from_vector(spin), here))

    hessian = (
        np.einsum("ai,kab,bj->kij", way, bend, way) - np.einsum("ka,a,ij->kij", slope, here, np.eye(3)) / 4
    )
    eye = np.eye(3) * h
    for i in range(3):
        np.testing.assert_allclose(
            (turned(eye[i]) - turned(-eye[i])) / (2 * h), (slope @ way)[:, i], atol=1e-7
        )
        for j in range(3):
            mixed = (
                turned(eye[i] + eye[j])
                - turned(eye[i] - eye[j])
                - turned(eye[j] - eye[i])
                + turned(-eye[i] - eye[j])
            ) / (4 * h * h)
            np.testing.assert_allclose(mixed, hessian[:, i, j], atol=1e-5)


# -- gradient and tangent ----------------------------------------------------------------------------------


def random_state(rods, size):
    rng = np.random.default_rng(5)
    scale = np.where(rods.angular, 1.0, 0.1) * size
    state = rods.rest()
    for _ in range(3):
        state = rods.advance(state, scale * rng.standard_normal((rods.batch, rods.size)))
    return state, scale


def energy(rods, state, force):
    """Strain energy less the work of the dead loads [J] of a single variant, written out."""
    _, weights = np.polynomial.legendre.leggauss(rods.order)
    elastic = rods.evaluate(state, force).stress - rods.rest_stress()
    strain = elastic / rods.strain_stiffness[:, :, None]
    density = np.sum(elastic * strain, axis=3) / 2 + rods.pull[..., None] * strain[..., 0]
    result = np.sum(density @ weights / 2 * rods.length)
    result -= np.sum((force + rods.balance_force) * state.shift)
    result += np.sum(rods.root_springs * state.root_angle**2) / 2
    prop = state.turn[0, 0]
    for place, spring in zip(rods.jointed, rods.joint_stiffness[0], strict=True):
        joint = rotation_vector(product(prop * np.array([1, -1, -1, -1]), state.turn[0, rods.tips[place]]))
        result += np.sum(spring * joint**2) / 2
    # A couple as three pairs of dead forces.
    for axis in np.eye(3):
        result -= np.cross(rods.balance_couple[0], axis) / 2 @ ((rotation_matrix(prop) - np.eye(3)) @ axis)
    return result


def carried_stress(rods, here, step):
    """Section forces after a step, carried along linearly."""
    steps = rods.element_steps(here.ends, step[..., None])
    return here.stress + rods.stress_change(here.strain_map, steps)[..., 0]


@pytest.mark.parametrize("layout", [bent, two_supports, taut, unbalanced])
def test_gradient_and_tangent_are_derivatives_of_the_energy(layout):
    supports, prop = layout()
    # Soft in stretch, so that the large bending terms are not drowned.
    supports = [
        replace(
            s,
            **{
                name: getattr(s, name) / 1e4
                for name in ("axial_stiffness", "shear_stiffness_y", "shear_stiffness_z")
            },
        )
        for s in supports
    ]
    rods = Rods(supports, prop, order=3, elements=2, shear=True)
    state, scale = random_state(rods, 0.2)
    force = rods.weight(np.array([[3.0, -9.0, 2.0]]))
    here = rods.evaluate(state, force)
    tangent = rods.tangent(here)
    rng = np.random.default_rng(6)
    for _ in range(4):
        step = scale * rng.standard_normal((1, rods.size))
        h = 1e-3

        def along(c, step=step):
            return energy(rods, rods.advance(state, c * step), force)

        size = np.abs(step * here.gradient).sum()
        slope = (8 * (along(h) - along(-h)) - along(2 * h) + along(-2 * h)) / (12 * h)
        assert slope == pytest.approx((here.gradient @ step.T).item(), abs=1e-7 * size)
        bend = (-along(2 * h) + 16 * along(h) - 30 * along(0) + 16 * along(-h) - along(-2 * h)) / (12 * h * h)
        found = (step @ tangent[0] @ step.T).item()
        # Fourth-order differences of rounded energies: about 1e-15 |E| / h^2.
        assert bend == pytest.approx(found, rel=1e-5)
    np.testing.assert_allclose(tangent, tangent.transpose(0, 2, 1), atol=1e-9 * np.abs(tangent).max())


def test_carried_stress_is_the_derivative_of_the_stress():
    supports, prop = two_supports()
    rods = Rods(supports, prop, order=4, elements=2, shear=True)
    state, scale = random_state(rods, 0.05)
    force = np.zeros((1, rods.node_count, 3))
    here = rods.evaluate(state, force)
    step = 1e-5 * scale * np.random.default_rng(7).standard_normal((1, rods.size))
    ahead, behind = (rods.evaluate(rods.advance(state, c * step), force) for c in (1, -1))
    found = carried_stress(rods, here, step) - here.stress
    np.testing.assert_allclose(
        found, (ahead.stress - behind.stress) / 2, rtol=1e-5, atol=1e-6 * np.abs(found).max()
    )


@pytest.mark.parametrize("order", [3, 4])
@pytest.mark.parametrize("layout", [one_straight, bent, sleeved, two_supports, stubby])
def test_the_first_guess_is_newtons_first_step(layout, order):
    """Timoshenko's beam in closed form and the elements by Gauss points are two ways to one small displacement."""
    supports, prop = layout()
    push = 1e-7 * np.array([[1.0, 2.0, 3.0, 0.4, 0.5, 0.6]])
    rods = Rods(supports, prop, order=order, elements=4, shear=True, push=push)
    # So small that the load adds nothing to the stiffness.
    gravity = np.array([[3e-6, -9e-6, 2e-6]])
    here = rods.evaluate(rods.rest(), rods.load(gravity))
    wanted = newton_step(rods, here, condensed(rods, here))
    step, stress = linear_step(rods, gravity)
    np.testing.assert_allclose(step, wanted, atol=1e-8 * np.abs(wanted).max())
    found = carried_stress(rods, here, wanted)
    size = np.abs(found).max(axis=(0, 1, 2))
    np.testing.assert_allclose(stress / size, found / size, atol=1e-7)


# -- the limit of small loads ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", LAYOUTS)
@pytest.mark.parametrize("shear", [True, False])
def test_small_loads_agree_with_the_linear_engine(name, shear):
    from rigcheck.mechanics.elements import Order

    supports, prop = LAYOUTS[name]()
    gravity = np.array([2e-6, -1e-5, 3e-6])
    # More functions than usual for stretch and twist, whose modes in a bare rod are else off by 7e-5.
    order = Order(axial=6, torsion=6)
    frame = Frame(supports, prop, order if shear else replace(order, shear=None))
    linear = settle(frame, frame.inertial_load(gravity))
    large = require_settled(settle_large(supports, prop, gravity, shear=shear))
    found = np.concatenate([large.prop_displacement, large.prop_rotation], axis=1)
    wanted = linear.state[:, :6]
    # Second-order effects are of the size of the sag over the length, 1e-7 here.
    np.testing.assert_allclose(found, wanted, atol=1e-6 * np.abs(wanted).max())
    reach = (
        0.2 * np.abs(np.concatenate(linear.root_force)).max()
        + np.abs(np.concatenate(linear.root_moment)).max()
    )
    stations = np.array([0.0, 0.3, 1.0])
    here = large.section_forces(stations)
    pulls = [0.0 if s.tension is None else s.tension[0] for s in supports for _ in range(s.segments)]
    for ours, theirs, pull in zip(here, section_forces(frame, linear.state, stations), pulls, strict=True):
        for part in ("torque", "moment_y", "moment_z"):
            # Taut: the bending beside the clamp gathers on sqrt(EI / T), a tenth of a metre, with 4 elements.
            limit = 1e-4 if pull else 1e-6
            np.testing.assert_allclose(getattr(ours, part), getattr(theirs, part), atol=limit * reach)
        if not pull:
            for part in ("axial", "shear_y", "shear_z"):
                np.testing.assert_allclose(
                    getattr(ours, part), getattr(theirs, part), atol=1e-6 * reach / 0.2
                )
    for ours, theirs in zip(large.root_moment, linear.root_moment, strict=True):
        np.testing.assert_allclose(ours, theirs, atol=1e-6 * reach)
    ours, theirs = large_modes(large, 6), natural_modes(frame, linear.stiffness, 6)
    np.testing.assert_allclose(ours.angular_frequency, theirs.angular_frequency, rtol=1e-5)
    sign = np.sign(np.einsum("bim,bim->bm", ours.shape[:, :6], theirs.shape[:, :6]))
    high = np.abs(theirs.shape[:, :6]).max()
    np.testing.assert_allclose(ours.shape[:, :6] * sign[:, None], theirs.shape[:, :6], atol=2e-5 * high)
    high = np.abs(theirs.participation).max()
    np.testing.assert_allclose(ours.participation * sign[..., None], theirs.participation, atol=2e-5 * high)
    lowest = MovedFrame(large).section_forces(ours.shape[:, :, :2] * sign[:, None, :2], stations)
    for mine, yours in zip(lowest, section_forces(frame, theirs.shape[:, :, :2], stations), strict=True):
        high = max(np.abs(getattr(yours, part)).max() for part in ("torque", "moment_y", "moment_z"))
        for part in ("torque", "moment_y", "moment_z"):
            # Section forces of a mode are polynomials through four Gauss points an element.
            np.testing.assert_allclose(getattr(mine, part), getattr(yours, part), atol=1e-3 * high)


def test_modes_about_the_given_shape():
    supports, prop = one_straight()
    prop = replace(prop, mass=prop.mass * 3)
    large = settle_large(supports, prop, DOWN)
    frame = Frame(supports, prop)
    wanted = natural_modes(frame, frame.stiffness, 6).angular_frequency
    found = large_modes(large, 6, about_state=False).angular_frequency
    np.testing.assert_allclose(found, wanted, rtol=1e-5)
    assert not np.allclose(large_modes(large, 6).angular_frequency, wanted, rtol=1e-4)


@pytest.mark.parametrize(("along", "share"), [((0, 1, 0), 0.5), ((0, -1, 0), 2.0)])
def test_weight_along_the_wire_agrees_with_the_linear_engine(along, share):
    # Standing at half its buckling load, and hanging: no sag, so both engines solve the same small motion,
    # with the weight acting 30 mm beyond the tip. They differ by the axial strain, about 1e-6.
    critical = np.pi**2 * WIRE.bending_stiffness_z / (4 * 0.3**2)
    support, prop = straight(
        WIRE,
        0.3,
        mass=share * critical / GRAVITY,
        reach=0.03,
        inertia=INERTIA,
        along=along,
        root_stiffness=(40.0,) * 3,
    )
    frame = Frame([support], prop)
    linear = settle(frame, frame.inertial_load(DOWN))
    large = require_settled(settle_large([support], prop, DOWN))
    wanted = natural_modes(frame, linear.stiffness, 6).angular_frequency
    found = large_modes(large, 6).angular_frequency
    # The second pair shows the linear theory's own limit (shear force and moment of a column under weight).
    np.testing.assert_allclose(found[:, :2], wanted[:, :2], rtol=2e-5)
    np.testing.assert_allclose(found, wanted, rtol=2e-4)
    unloaded = natural_modes(frame, frame.stiffness, 6).angular_frequency
    assert np.all(np.abs(found[:, :2] / unloaded[:, :2] - 1) > 0.1)


# -- properties --------------------------------------------------------------------------------------------


def heavy(layout):
    supports, prop = layout()
    return supports, replace(prop, mass=prop.mass * 30)


@pytest.mark.parametrize("layout", [bent, sleeved, two_supports])
def test_turning_everything_turns_the_result(layout):
    supports, prop = heavy(layout)
    if supports[0].joint_stiffness is not None:
        # Joint springs stand about fixed directions; alike in all of them they turn with the rest.
        supports = [replace(supports[0], joint_stiffness=np.full((1, 3), 4.0))]
    turn = rotation_matrix(from_vector(np.array([0.4, -1.1, 0.7])))
    plain = require_settled(settle_large(supports, prop, DOWN))
    turned = require_settled(settle_large([moved(s, turn) for s in supports], moved(prop, turn), turn @ DOWN))
    assert np.linalg.norm(plain.prop_displacement) > 0.02
    np.testing.assert_allclose(turned.prop_displacement, plain.prop_displacement @ turn.T, atol=1e-9)
    np.testing.assert_allclose(
        turned.prop_rotation_matrix[0], turn @ plain.prop_rotation_matrix[0] @ turn.T, atol=1e-8
    )
    ours, theirs = large_modes(plain, 6), large_modes(turned, 6)
    np.testing.assert_allclose(theirs.angular_frequency, ours.angular_frequency, rtol=1e-7)


@pytest.mark.parametrize("share", [1, 10, 100])
@pytest.mark.parametrize("layout", [one_straight, bent, sleeved, two_supports])
def test_the_coarse_mesh_is_good_to_a_thousandth(layout, share):
    supports, prop = layout()
    prop = replace(prop, mass=prop.mass * share)
    full, half = (
        require_settled(settle_large(supports, prop, DOWN, coarse=coarse)) for coarse in (False, True)
    )
    assert half.rods.size < 0.75 * full.rods.size
    scale = np.linalg.norm(full.prop_displacement)
    np.testing.assert_allclose(half.prop_displacement, full.prop_displacement, rtol=0, atol=1e-3 * scale)
    ours, theirs = large_modes(half, 3), large_modes(full, 3)
    np.testing.assert_allclose(ours.angular_frequency, theirs.angular_frequency, rtol=1e-3)
    for ours_root, theirs_root in zip(half.root_moment, full.root_moment, strict=True):
        size = np.linalg.norm(theirs_root)
        np.testing.assert_allclose(ours_root, theirs_root, rtol=0, atol=5e-3 * size)


def three_side_by_side():
    """As a prop on three supports is held: their tips turn with it, so they bend to an S."""
    offsets = 0.02 * np.array([[0, 1, 0], [0, -0.5, 0.9], [0, -0.5, -0.9]])
    supports = [make_support(np.array([[0, 0, 0], [0.2, 0, 0]]) + offset, WIRE) for offset in offsets]
    return supports, make_prop(2.0, [0.21, 0.0, 0.0], INERTIA)


@pytest.mark.parametrize("share", [0.3, 0.75, 1.5])
@pytest.mark.parametrize("layout", [one_straight, three_side_by_side])
def test_two_elements_are_enough_for_straight_supports(layout, share):
    supports, prop = layout()
    prop = replace(prop, mass=prop.mass * share)
    elements = elements_for(supports, prop, DOWN, least=2)
    # Three wires that move by a fifth of their length need one more.
    assert elements.tolist() == [3 if len(supports) > 1 and share > 1 else 2]
    found, fine = (
        require_settled(settle_large(supports, prop, DOWN, elements=n)) for n in (int(elements[0]), 16)
    )
    scale = np.linalg.norm(fine.prop_displacement)
    # From a hundredth to a fifth of the length: what `elements_for` promises.
    assert 0.01 < scale / 0.2 < 0.25
    np.testing.assert_allclose(found.prop_displacement, fine.prop_displacement, rtol=0, atol=1e-4 * scale)
    ours, theirs = large_modes(found, 3), large_modes(fine, 3)
    np.testing.assert_allclose(ours.angular_frequency, theirs.angular_frequency, rtol=1e-4)
    stations = np.linspace(0, 1, 5)
    for here, there in zip(found.section_forces(stations), fine.section_forces(stations), strict=True):
        for part in ("moment_y", "moment_z"):
            size = max(np.abs(there.moment_y).max(), np.abs(there.moment_z).max())
            np.testing.assert_allclose(getattr(here, part), getattr(there, part), rtol=0, atol=5e-4 * size)


def test_section_forces_at_the_clamp_are_what_the_root_needs():
    # In equilibrium the moment at the root is exact to the error of the displacement; drawn on from the points of
    # one element alone, section forces would miss it by 5e-4 here.
    supports, prop = three_side_by_side()
    large = require_settled(settle_large(supports, prop, DOWN))
    for force, moment in zip(large.section_forces(np.zeros(1)), large.root_moment, strict=True):
        assert force.moment_z[0, 0] == pytest.approx(-moment[0, 2], rel=5e-5)


def test_each_variant_gets_the_elements_it_needs():
    supports, prop = one_straight()
    soft = [replace(s, bending_stiffness_y=s.bending_stiffness_y / 100) for s in supports]
    alone = [int(elements_for(one, prop, DOWN, least=2)[0]) for one in (supports, soft)]
    assert alone[0] == 2
    assert alone[1] > 2
    bent_support, bent_prop = bent()
    assert elements_for(bent_support, bent_prop, DOWN, least=2).tolist() == [4]
    taut_support, taut_prop = taut()
    assert elements_for(taut_support, taut_prop, DOWN, least=2).tolist() == [4]


def test_taut_supports_keep_their_mesh_when_coarse():
    supports, prop = taut()
    full, same = (settle_large(supports, prop, DOWN, coarse=coarse) for coarse in (False, True))
    np.testing.assert_array_equal(same.prop_displacement, full.prop_displacement)
    assert same.rods.size == full.rods.size


@pytest.mark.parametrize("layout", [bent, sleeved, two_supports, taut])
def test_forces_balance(layout):
    supports, prop = heavy(layout)
    large = require_settled(settle_large(supports, prop, DOWN))
    weight, moment = (
        prop.mass[0] * DOWN,
        np.cross((prop.centre_of_mass + large.prop_displacement)[0], prop.mass[0] * DOWN),
    )
    on_prop = weight.copy()
    for index, support in enumerate(supports):
        lengths = np.linalg.norm(np.diff(support.points[0], axis=0), axis=1)
        weight = weight + (support.mass_per_length[0] @ lengths) * DOWN + large.root_force[index][0]
        moment = moment + large.root_moment[index][0] + np.cross(support.root[0], large.root_force[index][0])
        # Weight of the moved wire about the origin, by Gauss points on the centre line drawn.
        nodes, weights = np.polynomial.legendre.leggauss(12)
        line = large.centre_line((nodes + 1) / 2)[index][0].reshape(support.segments, -1, 3)
        for piece in range(support.segments):
            share = support.mass_per_length[0, piece] * lengths[piece] * weights / 2
            moment = moment + np.cross(share @ line[piece], DOWN)
        on_prop = on_prop - large.tip_force[index][0]
    scale = np.linalg.norm(prop.mass[0] * DOWN)
    np.testing.assert_allclose(weight, 0, atol=1e-7 * scale)
    np.testing.assert_allclose(on_prop, 0, atol=1e-7 * scale)
    np.testing.assert_allclose(moment, 0, atol=1e-7 * scale)


def test_section_forces_follow_from_the_root():
    supports, prop = heavy(sleeved)
    large = require_settled(settle_large(supports, prop, DOWN))
    first = large.section_forces(np.array([0.0, 1.0]))[0]
    root = np.array([first.torque[0, 0], first.moment_y[0, 0], first.moment_z[0, 0]])
    # The root is rigid, so its section still has the axes right, up, toward; it feels minus what the root
    # puts on.
    np.testing.assert_allclose(root, -large.root_moment[0][0], atol=1e-4 * np.abs(root).max())
    force = np.array([first.axial[0, 0], first.shear_y[0, 0], first.shear_z[0, 0]])
    np.testing.assert_allclose(force, -large.root_force[0][0], atol=1e-4 * np.abs(force).max())
    assert 0 < large.mesh_error[0] < 1e-3


def test_a_batch_is_its_variants():
    pairs = [
        straight(
            round_line(d), 0.3, mass=m, reach=0.02, inertia=INERTIA, root_stiffness=(np.inf, np.inf, stiff)
        )
        for d, m, stiff in (
            (0.001, 0.15, 20.0),
            (0.002, 0.05, np.inf),
            (0.003, 0.4, 5.0),
            (0.0012, 0.3, np.inf),
        )
    ]
    both = settle_large([stack([p[0] for p in pairs])], stack([p[1] for p in pairs]), DOWN, elements=6)
    modes = large_modes(both, 6)
    assert both.converged.all()
    assert both.stable.all()
    for index, (support, prop) in enumerate(pairs):
        alone = settle_large([support], prop, DOWN, elements=6)
        np.testing.assert_allclose(
            both.prop_displacement[index], alone.prop_displacement[0], rtol=1e-7, atol=1e-9
        )
        np.testing.assert_allclose(
            modes.angular_frequency[index], large_modes(alone, 6).angular_frequency[0], rtol=1e-6
        )


def test_chunks_make_no_difference(monkeypatch):
    pairs = [straight(round_line(d), 0.3, mass=0.1, inertia=INERTIA) for d in (0.001, 0.0015, 0.002)]
    support, prop = stack([p[0] for p in pairs]), stack([p[1] for p in pairs])
    whole = settle_large([support], prop, DOWN)
    wanted = large_modes(whole, 4)
    monkeypatch.setattr("rigcheck.mechanics.large._CHUNK", 2)
    parts = settle_large([support], prop, DOWN)
    for item in fields(whole):
        value = getattr(whole, item.name)
        if isinstance(value, np.ndarray) and item.name not in ("residual", "mesh_error"):
            np.testing.assert_allclose(getattr(parts, item.name), value, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(large_modes(parts, 4).angular_frequency, wanted.angular_frequency, rtol=1e-9)


def test_inertial_load_is_the_load_of_the_moved_shape():
    supports, prop = heavy(two_supports)
    frame = MovedFrame(require_settled(settle_large(supports, prop, DOWN)))
    gravity = frame.inertial_load(DOWN)
    # The weight does work on the modes as the potential says: its load is the derivative of that potential.
    rods, state = frame.rods, frame.state
    force = rods.weight(DOWN[None])
    held = rods.evaluate(state, np.zeros_like(force)).gradient - rods.evaluate(state, force).gradient
    np.testing.assert_allclose(gravity, held, atol=1e-10 * np.abs(held).max())
    # A rigid turn of the whole about the origin accelerates every point by spin x place: the load on a prop
    # far heavier than its wires is its mass there, and its inertia times the spin.
    spin = np.array([0.3, -0.2, 0.5])
    cross = np.array([[0, -spin[2], spin[1]], [spin[2], 0, -spin[0]], [-spin[1], spin[0], 0]])
    load = frame.inertial_load(np.zeros(3), cross[None], np.zeros((1, 3)))
    place = (prop.centre_of_mass + state.shift[:, 0])[0]
    np.testing.assert_allclose(load[0, :3], prop.mass[0] * cross @ place, rtol=2e-2)
    turn = rotation_matrix(state.turn[0, 0])
    wires = Rods(
        supports, replace(prop, mass=0 * prop.mass, inertia=0 * prop.inertia), order=4, elements=4, shear=True
    )
    own = wires.inertial_load(
        state, wires.ends(state), wires.inertia(state), np.zeros((1, 3)), cross[None], np.zeros((1, 3))
    )
    np.testing.assert_allclose((load - own)[0, 3:6], turn @ prop.inertia[0] @ turn.T @ spin, rtol=1e-6)


@pytest.mark.parametrize("layout", [one_straight, bent, two_supports, taut])
def test_the_lowest_modes_are_those_of_the_whole_matrices(layout):
    supports, prop = heavy(layout)
    frame = MovedFrame(require_settled(settle_large(supports, prop, DOWN)))
    few, whole = large_modes(frame, 5), natural_modes(frame, frame.stiffness, 5)
    np.testing.assert_allclose(few.angular_frequency, whole.angular_frequency, rtol=1e-9)
    # Modes of one frequency may be mixed: their energies among the shapes are not.
    shared = np.abs(np.swapaxes(few.shape, 1, 2) @ frame.mass @ whole.shape)
    np.testing.assert_allclose(shared, np.broadcast_to(np.eye(5), shared.shape), atol=1e-5)
    np.testing.assert_allclose(
        np.abs(few.participation), np.abs(whole.participation), atol=1e-5 * np.abs(whole.participation).max()
    )


@pytest.mark.parametrize("mass", [1.0, 0.0])
def test_a_turn_of_everything_about_the_root_feels_the_whole_inertia(mass):
    """Its field loads the freedoms as the mass matrix does for the rigid motion; without mass only sections turn."""
    supports, prop = bent()
    prop = replace(prop, mass=mass * prop.mass, inertia=mass * prop.inertia)
    supports = [replace(s, mass_per_length=mass * s.mass_per_length) for s in supports]
    rods = Rods(supports, prop, order=4, elements=3, shear=True)
    state, _ = random_state(rods, 0.2)
    ends, inertia = rods.ends(state), rods.inertia(state)
    spin, root = np.array([0.3, -0.2, 0.5]), supports[0].root
    turning = np.cross(spin, np.eye(3)).T[None]
    place = rods.points + state.shift - root
    motion = np.zeros((1, rods.size + 1))
    motion[:, rods.step_freedoms] = np.concatenate(
        [np.cross(spin, place), np.broadcast_to(spin, place.shape)], axis=2
    )
    motion[:, rods.root_freedoms] = np.linalg.solve(ends.root, spin[:, None])[..., 0]
    wanted = (rods.mass(state, ends, inertia) @ motion[:, :-1, None])[..., 0]
    found = rods.inertial_load(state, ends, inertia, np.zeros((1, 3)), turning, root)
    np.testing.assert_allclose(found, wanted, atol=1e-12 * np.abs(wanted).max())
    assert np.abs(wanted[:, rods.inner_freedoms]).max() > 0


@pytest.mark.parametrize("layout", [bent, two_supports, taut])
def test_motion_by_its_elements_is_that_of_the_whole_matrices(layout):
    """What is inside the elements is measured from its static shape there; here nothing is."""
    supports, prop = heavy(layout)
    frame = MovedFrame(require_settled(settle_large(supports, prop, DOWN)))
    stations = np.array([0.0, 0.4, 1.0])
    found, forces = frame.motion(turning=True, least_share=1e-3, steps=3, stations=stations)
    fields = [frame.inertial_load(axis) for axis in np.eye(3)]
    fields += [frame.inertial_load(np.zeros(3), entry.reshape(1, 3, 3)) for entry in np.eye(9)]
    loads = np.stack(fields, axis=2)
    whole = motion_of(frame.stiffness, frame.mass, loads, prop=6, least_share=1e-3, steps=8)
    lowest = 4
    np.testing.assert_allclose(
        found.angular_frequency[:, :lowest], whole.angular_frequency[:, :lowest], rtol=1e-6
    )
    size = np.abs(whole.follow[:, :6]).max()
    np.testing.assert_allclose(found.follow[:, :6], whole.follow[:, :6], atol=1e-9 * size)
    sign = np.sign(np.sum(whole.shape[:, :6, :lowest] * found.shape[:, :6, :lowest], axis=1))[:, None]
    size = np.abs(whole.shape[:, :6, :lowest]).max()
    np.testing.assert_allclose(
        sign * found.shape[:, :6, :lowest], whole.shape[:, :6, :lowest], atol=1e-3 * size
    )
    size = np.abs(whole.participation[:, :lowest]).max()
    np.testing.assert_allclose(
        sign[:, 0, :, None] * found.participation[:, :lowest],
        whole.participation[:, :lowest],
        atol=1e-3 * size,
    )
    wanted = frame.section_forces(whole.follow, stations)
    for ours, theirs in zip(forces, wanted, strict=True):
        for part in ("axial", "torque", "moment_y", "moment_z"):
            size = np.abs(getattr(theirs, part)).max(axis=(0, 1))
            np.testing.assert_allclose(
                getattr(ours, part)[..., : len(fields)],
                getattr(theirs, part),
                rtol=1e-6,
                atol=1e-8 * size.max(),
            )


def test_modes_have_unit_mass_and_all_the_mass_takes_part():
    supports, prop = heavy(sleeved)
    frame = MovedFrame(require_settled(settle_large(supports, prop, DOWN)))
    modes = large_modes(frame)
    lowest = modes.shape[0, :, :40]
    np.testing.assert_allclose(lowest.T @ frame.mass[0] @ lowest, np.eye(40), atol=1e-7)
    # All modes together carry all mass that can move: the whole but the share of the held root node.
    lengths = np.linalg.norm(np.diff(supports[0].points[0], axis=0), axis=1)
    total = prop.mass[0] + supports[0].mass_per_length[0] @ lengths
    np.testing.assert_allclose(np.sum(modes.participation[0] ** 2, axis=0), total, rtol=2e-3)


# -- closed forms ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.25, 0.5, 1.0])
def test_a_couple_rolls_a_wire_into_a_circle(share):
    # M = 2 pi EI / L closes the circle: curvature is M / EI everywhere. In the plane the spin is the angle,
    # so a couple is a constant on the prop's third rotation.
    line = round_line(0.001)
    support, prop = straight(line, 0.5, mass=0.1)
    rods = Rods([support], prop, order=4, elements=8, shear=True)
    state, none = rods.rest(), np.zeros((1, rods.node_count, 3))
    stress = rods.rest_stress()
    for step in range(1, 11):
        for _ in range(20):
            here = rods.evaluate(state, none, stress)
            push = -here.gradient
            push[:, 5] += share * step / 10 * 2 * np.pi * line.bending_stiffness_z / 0.5
            change = np.linalg.solve(rods.tangent(here), push[..., None])[..., 0]
            stress = carried_stress(rods, here, change)
            state = rods.advance(state, change)
            if np.abs(change).max() < 1e-10:
                break
        else:
            pytest.fail("no equilibrium under the couple")
    angle, radius = share * 2 * np.pi, 0.5 / (share * 2 * np.pi)
    tip = rods.points[0, -1] + state.shift[0, -1]
    np.testing.assert_allclose(
        tip, [radius * np.sin(angle), radius * (1 - np.cos(angle)), 0], atol=1e-6 * 0.5
    )
    np.testing.assert_allclose(
        2 * np.arctan2(state.turn[0, 0, 3], state.turn[0, 0, 0]) % (2 * np.pi + 1e-9), angle, rtol=1e-6
    )


@pytest.mark.parametrize("what", ["tip", "own weight"])
def test_buckling_is_seen_as_unstable(what):
    # Tip weight: pi^2 EI / (4 L^2). Own weight: A. G. Greenhill (1881), w L^3 / EI = 7.8373 (from memory; the
    # root of J_{-1/3}, 9/4 of the square of 1.86635).
    line = round_line(0.001)
    flexural, length = line.bending_stiffness_z, 0.4
    for share, stays in ((0.998, True), (1.002, False)):
        if what == "tip":
            light = replace(line, mass_per_length=1e-9)
            support, prop = straight(
                light, length, mass=share * np.pi**2 * flexural / (4 * length**2) / GRAVITY, along=(0, 1, 0)
            )
        else:
            own = replace(line, mass_per_length=share * 7.8373 * flexural / length**3 / GRAVITY)
            support, prop = straight(own, length, mass=1e-9, along=(0, 1, 0))
        found = settle_large([support], prop, DOWN)
        assert found.converged[0]
        assert found.stable[0] == stays
        if not stays:
            assert np.isnan(large_modes(found, 2).angular_frequency).all()


def test_a_strip_on_edge_falls_over_sideways():
    # Lateral buckling of a narrow cantilever strip under a load at its tip: P = 4.013 sqrt(EI GJ) / L^2, with
    # EI for the weak direction; S. P. Timoshenko and J. M. Gere, Theory of Elastic Stability, 2nd ed.,
    # chapter 6 (from memory). The formula leaves out the bending before, of the order of the ratio of the
    # stiffnesses, 1/1600 here.
    line = replace(strip_line(0.020, 0.0005), mass_per_length=1e-9)
    load = 4.013 * np.sqrt(line.bending_stiffness_y * line.torsional_stiffness) / 0.3**2
    for share, stays in ((0.99, True), (1.01, False)):
        support, prop = straight(line, 0.3, mass=share * load / GRAVITY, width_direction=[0, 1.0, 0])
        found = settle_large([support], prop, DOWN)
        assert found.converged[0]
        assert found.stable[0] == stays


@pytest.mark.parametrize("lean", [1e-3, 1e-5])
def test_a_leaning_wire_follows_the_stable_branch(lean):
    # Post-buckling elastica, E.g. S. P. Timoshenko and J. M. Gere, Theory of Elastic Stability: with the tip
    # at the angle a, P / Pcr = (2 K(sin(a/2)) / pi)^2 and the deflection is 2 sin(a/2) / K of the length.
    from scipy.special import ellipk

    angle = np.radians(60)
    complete = ellipk(np.sin(angle / 2) ** 2)
    line = replace(round_line(0.001), mass_per_length=1e-12)
    load = (2 * complete / np.pi) ** 2 * np.pi**2 * line.bending_stiffness_z / (4 * 0.4**2)
    support, prop = straight(line, 0.4, mass=load / GRAVITY, along=(0, 1, 0))
    tilted = GRAVITY * np.array([np.sin(lean), -np.cos(lean), 0])
    found = require_settled(settle_large([support], prop, tilted))
    # The lean itself moves the tip, by about 2.4 lengths a radian here.
    assert found.prop_displacement[0, 0] == pytest.approx(
        2 * np.sin(angle / 2) / complete * 0.4, rel=4 * lean + 2e-5
    )
    assert np.all(large_modes(found, 2).angular_frequency > 0)


def shallow_arch(share):
    """Two stiff struts, free to turn in the plane at both ends, under a share of the load at which they snap
    through."""
    half, rise = 0.1, 0.01
    # Bending a thousand times stiffer than the rod's, so that the struts do not buckle first.
    strut = round_line(0.004, shear_coefficient=50.0)
    strut = replace(
        strut, mass_per_length=1e-9, bending_stiffness_y=2e3, bending_stiffness_z=2e3, torsional_stiffness=2e3
    )
    length = np.hypot(half, rise)
    height = np.linspace(-rise, rise, 200001)
    now = np.hypot(half, height)
    most = np.max(2 * strut.axial_stiffness * (length - now) / length * height / now)
    ends = {"root_stiffness": (np.inf, np.inf, 1e-3), "joint_stiffness": (1e3, 1e3, 1e-3)}
    supports = [make_support([[side * half, 0, 0], [0, rise, 0]], strut, **ends) for side in (-1, 1)]
    return supports, make_prop(share * most / GRAVITY, [0, rise, 0], INERTIA)


def test_snapping_through_is_reported_with_the_load_reached():
    # Two-strut arch: P = 2 EA (1 - l / L) h / l over the height h; its largest value is where it snaps
    # (derived here).
    supports, prop = shallow_arch(1.25)
    found = settle_large(supports, prop, DOWN)
    assert not found.converged[0]
    assert not found.stable[0]
    assert found.reached[0] == pytest.approx(1 / 1.25, rel=2e-4)
    assert np.isnan(found.prop_displacement).all()
    assert np.isnan(found.section_forces(np.array([0.5]))[0].axial).all()
    assert found.residual[0] > 1e-9
    assert found.iterations[0] < 160  # 14 halvings of the step, and not on until rounding ends them
    supports, prop = shallow_arch(0.95)
    require_settled(settle_large(supports, prop, DOWN))


def test_a_bad_variant_leaves_the_others_alone():
    pairs = [straight(round_line(d), 0.3, mass=0.2, along=(0, 1, 0)) for d in (0.001, 0.004)]
    support, prop = stack([p[0] for p in pairs]), stack([p[1] for p in pairs])
    found = settle_large([support], prop, DOWN)
    assert found.stable.tolist() == [False, True]
    modes = large_modes(found, 4)
    assert np.isnan(modes.angular_frequency[0]).all()
    alone = large_modes(settle_large([pairs[1][0]], pairs[1][1], DOWN), 4)
    np.testing.assert_allclose(modes.angular_frequency[1], alone.angular_frequency[0], rtol=1e-6)
    tired = settle_large([support], prop, DOWN, most_iterations=1)
    assert not tired.converged.any()


def test_no_weight_is_no_sag():
    supports, prop = bent()
    found = require_settled(settle_large(supports, prop, np.zeros(3)))
    assert np.all(found.prop_displacement == 0)
    assert found.residual[0] == 0
    assert found.mesh_error[0] == 0


# -- input -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            {"axial_stiffness": np.array([[-1.0]])},
            r"supports\[0\]\.axial_stiffness: every value must be positive",
        ),
        (
            {"bending_stiffness_y": np.ones((1, 2))},
            r"bending_stiffness_y of shape \(1, 2\): wanted is \(1, 1\)",
        ),
        ({"points": np.zeros((1, 2, 3))}, "two points in a row are the same"),
        ({"points": np.array([[[0, 0, 0], [0, 0, np.nan]]])}, "points: has a number that is not finite"),
        ({"points": np.zeros((2, 2, 3))}, r"points of shape \(2, 2, 3\): wanted is \(1, n \+ 1, 3\)"),
        ({"root_stiffness": np.array([[1.0, -1.0, 1.0]])}, "root_stiffness: every value must be 0 or more"),
        (
            {"joint_stiffness": np.array([[1.0, np.inf, 1.0]])},
            "joint_stiffness: every value must be positive",
        ),
        ({"mass_per_length": np.array([[-0.1]])}, "mass_per_length: every value must be 0 or more"),
        ({"tension": np.array([np.nan])}, "tension: has a number that is not finite"),
    ],
)
def test_supports_that_make_no_model(change, says):
    support, prop = straight(WIRE, 0.2, mass=0.1)
    with pytest.raises(ArgumentError, match=says):
        settle_large([replace(support, **change)], prop, DOWN)


def test_other_arguments_that_make_no_model():
    support, prop = straight(WIRE, 0.2, mass=0.1)
    with pytest.raises(ArgumentError, match="the prop needs at least one"):
        settle_large([], prop, DOWN)
    with pytest.raises(ArgumentError, match=r"gravity of shape \(2,\): wanted is \(3,\) or \(1, 3\)"):
        settle_large([support], prop, np.zeros(2))
    with pytest.raises(ArgumentError, match=r"order = 1: allowed is 2 to 6"):
        settle_large([support], prop, DOWN, order=1)
    with pytest.raises(ArgumentError, match=r"elements = 0: allowed is 1 or more"):
        settle_large([support], prop, DOWN, elements=0)
    with pytest.raises(ArgumentError, match=r"prop\.mass: has a number that is not finite"):
        settle_large([support], replace(prop, mass=np.array([np.inf])), DOWN)


@pytest.mark.parametrize(("strain", "stays"), [(0.08, True), (0.12, False)])
def test_a_wire_bent_past_all_strain_is_given_up(strain, stays):
    """The elastica of a wire so loaded that it hangs straight down: its root is bent to kappa^2 = 2 W / EI."""
    line = replace(round_line(0.001), mass_per_length=1e-12)
    bent = strain / (0.001 / 4)  # a quarter of the diameter is the radius of gyration
    load = bent**2 * float(line.bending_stiffness_z) / 2
    support, prop = straight(line, 0.05, mass=load / GRAVITY)
    found = settle_large([support], prop, DOWN)
    assert found.converged[0] == stays
    assert (found.reached[0] == 1.0) == stays


def test_a_line_stretched_to_its_half_again_is_given_up():
    line = round_line(0.001)
    for share, stays in ((0.45, True), (0.55, False)):
        mass = share * float(line.axial_stiffness) / GRAVITY
        support, prop = straight(line, 0.2, mass=mass, along=(0, -1, 0))
        assert settle_large([support], prop, DOWN).converged[0] == stays
