"""The condensed frame: against the uncondensed one, LAPACK on its whole matrices, and closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.linalg
from rig_builders import GRAVITY, make_prop, make_support, round_line, stack, straight, strip_line
from scipy.optimize import brentq

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.condensed import FEW_MODES, CondensedFrame
from rigcheck.mechanics.elements import END_FREEDOMS, Basis, Order
from rigcheck.mechanics.frame import Base, Frame
from rigcheck.mechanics.modes import natural_modes
from rigcheck.mechanics.statics import settle

WEIGHT = np.array([0.0, -GRAVITY, 0.0])


def inclined(mass=0.12, inertia=(1e-5, 2e-5, 3e-5), **more):
    along = np.array([0.8, -0.36, 0.48])
    support = make_support([np.zeros(3), 0.16 * along], round_line(2e-3), **more)
    return [support], make_prop(mass, 0.16 * along + [0.004, -0.012, 0.006], inertia)


def pair(mass=0.2, inertia=(1e-4, 1.4e-4, 1.9e-4), **more):
    line = round_line(2.5e-3)
    left = make_support([[-0.03, 0.02, -0.14], [-0.03, 0.02, -0.02], [-0.015, 0, 0]], line, **more)
    right = make_support(
        [[0.03, 0.03, -0.15], [0.025, 0.02, -0.03], [0.02, 0, -0.01], [0.015, 0, 0]], line, **more
    )
    return [left, right], make_prop(mass, [0.002, -0.01, 0.012], inertia)


def strip_in_a_joint():
    line = strip_line(6e-3, 1.5e-3)
    support = make_support(
        [[0, 0, -0.12], [0, 0.01, 0]],
        line,
        width_direction=[1.0, 0.0, 0.0],
        root_stiffness=[np.inf, 40.0, 25.0],
        joint_stiffness=[3.0, 5.0, 4.0],
    )
    return [support], make_prop(0.09, [0.003, -0.004, 0.012], (2e-5, 2e-5, 3e-5))


def taut():
    # N L^2 / EI is 11: the default order follows it to rounding.
    line = round_line(2e-3)
    up = make_support([[0, 0.3, 0], [0, 0.01, 0]], line, tension=20.0)
    down = make_support([[0, -0.3, 0], [0, -0.01, 0]], line, tension=20.0)
    return [up, down], make_prop(0.05, [0.001, 0, 0], (1e-5, 1e-5, 1e-5))


def on_a_head():
    supports, prop = pair()
    base = Base(point=supports[0].root, stiffness=np.array([[300.0, 200.0, 250.0]]))
    return Frame(supports, prop, None, base)


RIGS = {
    "inclined": lambda: Frame(*inclined()),
    "soft root": lambda: Frame(*inclined(root_stiffness=[5.0, 20.0, np.inf])),
    "pair": lambda: Frame(*pair()),
    "pair, soft roots": lambda: Frame(*pair(root_stiffness=[30.0, 20.0, 40.0])),
    "strip in a joint": lambda: Frame(*strip_in_a_joint()),
    "taut": lambda: Frame(*taut()),
    "on a head": on_a_head,
    "point mass": lambda: Frame(*inclined(inertia=None)),
    "no shear": lambda: Frame(*inclined(), Order(shear=None)),
}


def test_elastic_stiffness_of_internal_functions_is_diagonal():
    # The condensed frame divides by the diagonal alone.
    inner = Basis.of(Order()).stiffness[:, END_FREEDOMS:, END_FREEDOMS:]
    rest = inner - np.einsum("kii->ki", inner)[:, :, None] * np.eye(inner.shape[1])
    np.testing.assert_allclose(rest, 0, atol=1e-12)


@pytest.mark.parametrize("order", [Order(), FEW_MODES, Order(shear=None)])
def test_separate_fields_hold_all_of_the_basis(order):
    basis = Basis.of(order)
    for whole, kinds, name in (
        (basis.stiffness, "stiffness_kinds", "stiffness"),
        (basis.mass, "mass_kinds", "mass"),
    ):
        # Each coefficient's matrix is as large as its parts in the fields: nothing couples two fields.
        for kind in range(len(whole)):
            parts = [
                getattr(field, name)[plane.tolist().index(kind)]
                for field in basis.separate_fields
                for plane in getattr(field, kinds)
                if kind in plane
            ]
            total = sum(np.sum(part**2) for part in parts)
            if name == "mass" and kind == 0:
                # rho A stands in stretch and both planes.
                assert len(parts) == 3
            np.testing.assert_allclose(total, np.sum(whole[kind] ** 2), rtol=1e-12)


@pytest.mark.parametrize("stiffens", [True, False])
@pytest.mark.parametrize("rig", RIGS)
def test_at_rest_as_the_whole_frame(rig, stiffens):
    frame = RIGS[rig]()
    whole = settle(frame, frame.inertial_load(WEIGHT), load_stiffens=stiffens)
    found = CondensedFrame(frame).settle(WEIGHT, load_stiffens=stiffens)
    # Rounding of two ways to solve matrices of condition up to 1e8; forces come from strains at the ends
    # there and from equilibrium here, alike to the convergence of the default order under tension.
    size = np.abs(whole.state[:, :6]).max()
    np.testing.assert_allclose(found.displacement, whole.state[:, :6], atol=1e-9 * size)
    for name in ("root_force", "root_moment", "tip_force", "tension"):
        expected = np.array(getattr(whole, name))
        same = found.tension.transpose(1, 0, 2) if name == "tension" else getattr(found, name)
        np.testing.assert_allclose(same, expected, atol=2e-9 * np.abs(expected).max())
    assert found.stable.all()


@pytest.mark.parametrize("rig", RIGS)
def test_three_modes_as_lapack_finds_them_on_the_whole_matrices(rig):
    frame = RIGS[rig]()
    condensed = CondensedFrame(frame)
    found = condensed.modes(condensed.settle(WEIGHT), 3).angular_frequency[0]
    stiffness = settle(frame, frame.inertial_load(WEIGHT)).stiffness[0]
    inverse_squares = scipy.linalg.eigh(frame.mass[0], stiffness, eigvals_only=True)[::-1][:3]
    ratio = found * np.sqrt(inverse_squares)
    # A Ritz frequency is never low; 1e-9 is rounding. The error allowed is what `modes` states.
    assert np.all(ratio > 1 - 1e-9)
    assert np.all(ratio < 1 + 1e-4)


@pytest.mark.parametrize("share", [0.3, 1.0, 2.0, 10.0])
@pytest.mark.parametrize("gyration", [0.0, 0.004, 0.03])
def test_three_modes_at_few_functions_by_mass_ratio(share, gyration):
    rng = np.random.default_rng(4)
    rigs = []
    for diameter, length in zip(rng.uniform(1e-3, 6e-3, 6), rng.uniform(0.08, 0.3, 6), strict=True):
        line = round_line(diameter)
        mass = share * 2 * line.mass_per_length * length
        shift = 0.01 * rng.normal()
        left = make_support([[-0.03, 0.02, -length], [-0.03, 0.02, -0.02 + shift], [-0.015, 0, 0]], line)
        right = make_support([[0.03, 0.02, -length], [0.03, 0.02, -0.02], [0.015, 0, 0]], line)
        inertia = np.array([1.0, 1.4, 1.9]) * mass * gyration**2
        rigs.append((left, right, make_prop(mass, [0, -0.01, 0.012], inertia)))
    left, right, prop = (stack(list(items)) for items in zip(*rigs, strict=True))
    for supports in ([left, right], [left]):
        whole = Frame(supports, prop)
        reference = natural_modes(whole, settle(whole, whole.inertial_load(WEIGHT)).stiffness, 3)
        few = CondensedFrame(Frame(supports, prop, FEW_MODES))
        found = few.modes(few.settle(WEIGHT), 3)
        ratio = found.angular_frequency / reference.angular_frequency
        assert np.all(ratio > 1 - 1e-8)
        assert np.all(ratio < 1 + 1e-4)


def test_shapes_and_participation_as_of_the_whole_frame():
    frame = Frame(*inclined())
    condensed = CondensedFrame(frame)
    found = condensed.modes(condensed.settle(WEIGHT), 3)
    whole = natural_modes(frame, settle(frame, frame.inertial_load(WEIGHT)).stiffness, 3)
    sign = np.sign(np.sum(found.shape * whole.shape[:, :6], axis=1, keepdims=True))
    # A frequency right to e has a shape right to sqrt(e); here e is about 1e-12.
    np.testing.assert_allclose(
        found.shape * sign, whole.shape[:, :6], atol=1e-5 * np.abs(whole.shape[:, :6]).max()
    )
    expected = whole.participation
    np.testing.assert_allclose(
        found.participation * sign.transpose(0, 2, 1), expected, atol=1e-5 * np.abs(expected).max()
    )


def test_sag_of_a_cantilever():
    # Tip displacement P L^3 / 3EI + P L / kGA + w L^4 / 8EI + w L^2 / 2kGA: beam tables with shear, derived here.
    line, length, mass = round_line(4e-3), 0.2, 0.3
    support, prop = straight(line, length, mass=mass, inertia=[1e-5] * 3)
    found = CondensedFrame(Frame([support], prop, FEW_MODES)).settle(WEIGHT)
    pull, weight = mass * GRAVITY, line.mass_per_length * GRAVITY
    rigidity, shear = line.bending_stiffness_z, line.shear_stiffness_y
    sag = pull * (length**3 / (3 * rigidity) + length / shear) + weight * (
        length**4 / (8 * rigidity) + length**2 / (2 * shear)
    )
    # Rounding.
    np.testing.assert_allclose(found.displacement[0, 1], -sag, rtol=1e-11)
    moment = pull * length + weight * length**2 / 2
    np.testing.assert_allclose(np.abs(found.root_moment[0][0]), [0, 0, moment], atol=1e-11 * moment)
    np.testing.assert_allclose(found.root_force[0][0], [0, pull + weight * length, 0], atol=1e-11 * pull)


@pytest.mark.parametrize("share", [1.0, 3.0, 30.0])
def test_cantilever_with_a_mass_at_its_tip(share):
    # Euler-Bernoulli with tip mass M: 1 + cos b cosh b + (M/m) b (cos b sinh b - sin b cosh b) = 0 (R. D. Blevins,
    # Formulas for Natural Frequency and Mode Shape, from memory; derived here too from the end conditions).
    line, length = round_line(2e-3), 0.25
    line = replace(line, rotary_inertia_y=0.0, rotary_inertia_z=0.0)
    beam = line.mass_per_length * length
    support, prop = straight(line, length, mass=share * beam)
    order = Order(bending=FEW_MODES.bending, shear=None, axial=2, torsion=2)
    frame = CondensedFrame(Frame([support], prop, order))
    found = frame.modes(frame.settle(np.zeros(3)), 4).angular_frequency[0]

    def condition(b):
        return 1 + np.cos(b) * np.cosh(b) + share * b * (np.cos(b) * np.sinh(b) - np.sin(b) * np.cosh(b))

    unit = np.sqrt(line.bending_stiffness_z / (line.mass_per_length * length**4))
    exact = [brentq(condition, *bounds) ** 2 * unit for bounds in ((0.1, 1.8751), (3.0, 4.6941))]
    # A round wire has each twice. The fourth of a point mass is no prop's mode, and bears 1e-4.
    np.testing.assert_allclose(found[:2], exact[0], rtol=1e-8)
    np.testing.assert_allclose(found[2:], exact[1], rtol=1e-4)
    assert found[0] == pytest.approx(found[1], rel=1e-10)


def test_reactions_carry_the_weight():
    frame = Frame(*pair(), FEW_MODES)
    found = CondensedFrame(frame).settle(WEIGHT)
    wire = sum(element.mass_scales[:, 0] for element in frame.elements)
    weight = (frame.prop.mass + wire) * GRAVITY
    np.testing.assert_allclose(np.sum(found.root_force, axis=0), [[0, weight[0], 0]], atol=1e-9 * weight[0])


def test_a_mixed_batch_is_each_of_its_variants():
    variants = [
        inclined(root_stiffness=[np.inf, np.inf, np.inf]),
        inclined(root_stiffness=[5.0, np.inf, 20.0], mass=0.4),
        inclined(root_stiffness=[2.0, 30.0, 20.0], inertia=None),
    ]
    supports, props = zip(*variants, strict=True)
    together = CondensedFrame(Frame([stack([item[0] for item in supports])], stack(list(props)), FEW_MODES))
    state = together.settle(WEIGHT)
    modes = together.modes(state, 3)
    for index, (support, prop) in enumerate(variants):
        alone = CondensedFrame(Frame(support, prop, FEW_MODES))
        still = alone.settle(WEIGHT)
        size = np.abs(still.displacement).max()
        np.testing.assert_allclose(state.displacement[index], still.displacement[0], atol=1e-9 * size)
        # One subspace is chosen among more freedoms than the other, so alike to the error of `modes` only.
        np.testing.assert_allclose(
            modes.angular_frequency[index], alone.modes(still, 3).angular_frequency[0], rtol=1e-5
        )


def standing(mass):
    support = make_support([[0, 0, 0], [0, 0.3, 0]], round_line(1e-3))
    return support, make_prop(mass, [0.001, 0.32, 0.0], [1e-6] * 3)


def test_a_variant_past_buckling_is_flagged_and_leaves_the_others_alone():
    # Euler: pi^2 EI / (4 L^2) = 0.27 N for this wire of 1 mm and 0.3 m, so 0.005 kg stands and 0.1 kg does not.
    masses = [0.005, 0.1, 0.002]
    supports, props = zip(*(standing(mass) for mass in masses), strict=True)
    frame = Frame([stack(list(supports))], stack(list(props)))
    together = CondensedFrame(frame)
    found = together.settle(WEIGHT)
    np.testing.assert_array_equal(found.stable, [True, False, True])
    np.testing.assert_array_equal(found.stable, settle(frame, frame.inertial_load(WEIGHT)).stable)
    modes = together.modes(found, 3)
    assert np.all(np.isfinite(modes.angular_frequency))
    for index in (0, 2):
        support, prop = standing(masses[index])
        alone = CondensedFrame(Frame([support], prop))
        still = alone.settle(WEIGHT)
        np.testing.assert_allclose(found.displacement[index], still.displacement[0], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(
            modes.angular_frequency[index], alone.modes(still, 3).angular_frequency[0], rtol=1e-9
        )


def test_internal_functions_that_buckle_are_seen():
    # Pressed beside a stiff rod, a wire buckles between its ends, where the nodes alone do not show it. It shares
    # the rod's shortening, so by EA it takes 0.71 N of 20 kg and 0.50 N of 14 kg; 4 pi^2 EI / L^2 is 0.56 N (Euler).
    supports = [
        make_support([[0, 0, 0], [0, 0.3, 0]], round_line(0.6e-3)),
        make_support([[0.02, 0, 0], [0.02, 0.3, 0]], round_line(8e-3)),
    ]
    for mass, stands in ((14.0, True), (20.0, False)):
        frame = Frame(supports, make_prop(mass, [0.02, 0.3, 0.0], [1.0] * 3))
        assert CondensedFrame(frame).settle(WEIGHT).stable.all() == stands
        assert settle(frame, frame.inertial_load(WEIGHT)).stable.all() == stands


def test_a_thin_hanging_line():
    # EI so small that N L^2 / EI is 1e3: the default order still follows it, as the whole frame does.
    support = make_support([[0, 0, 0], [0, -0.4, 0]], round_line(0.4e-3))
    prop = make_prop(0.1, [0.002, -0.41, 0.001], [1e-5] * 3)
    frame = Frame([support], prop)
    whole = settle(frame, frame.inertial_load(WEIGHT))
    condensed = CondensedFrame(frame)
    found = condensed.settle(WEIGHT)
    size = np.abs(whole.state[:, :6]).max()
    np.testing.assert_allclose(found.displacement, whole.state[:, :6], atol=1e-8 * size)
    reference = natural_modes(frame, whole.stiffness, 3).angular_frequency
    np.testing.assert_allclose(condensed.modes(found, 3).angular_frequency, reference, rtol=1e-4)


@pytest.mark.parametrize("share", [0.3, 1.0, 3.0])
def test_few_functions_at_rest_under_tension(share):
    # The error that `FEW_MODES` states for the settled state, by N L^2 / EI.
    line, length = round_line(2e-3), 0.2
    along = np.array([0.3, -1.0, 0.2]) / np.linalg.norm([0.3, -1.0, 0.2])
    mass = share * line.bending_stiffness_z / length**2 / GRAVITY
    support, prop = straight(line, length, mass=mass, reach=0.01, along=along, inertia=[1e-4 * mass] * 3)
    moved = [
        CondensedFrame(Frame([support], prop, order)).settle(WEIGHT).displacement[0, :3]
        for order in (FEW_MODES, Order(bending=14, shear=10))
    ]
    np.testing.assert_allclose(moved[0], moved[1], atol=1e-9 * np.abs(moved[1]).max())


@pytest.mark.parametrize("count", [0, 7])
def test_more_modes_than_there_are(count):
    condensed = CondensedFrame(Frame(*inclined()))
    with pytest.raises(ArgumentError, match=f"count is {count}: a condensed frame has 1 to 6 modes"):
        condensed.modes(condensed.settle(WEIGHT), count)


def shaken(frame: Frame, stiffness, loads, omega):
    """Prop under steady shaking at one angular frequency, by solving the whole matrices: (6, k)."""
    return np.linalg.solve(stiffness - omega**2 * frame.mass[0], loads)[:6]


@pytest.mark.parametrize("weight", [0.05, 1.0, 50.0])
@pytest.mark.parametrize("rig", ["inclined", "soft root", "pair", "strip in a joint", "taut", "on a head"])
def test_motion_shakes_as_the_whole_frame(rig, weight):
    """Modes with what follows without inertia, from far below the lowest mode to between higher ones."""
    frame = RIGS[rig]()
    frame.prop = replace(frame.prop, mass=weight * frame.prop.mass, inertia=weight * frame.prop.inertia)
    condensed = CondensedFrame(frame)
    settled = condensed.settle(WEIGHT, load_stiffens=False)
    found = condensed.motion(settled, least_share=1e-4)
    stiffness = frame.stiffness[0]
    if any(support.tension is not None for support in frame.supports):
        stiffness = settle(frame, frame.inertial_load(WEIGHT), load_stiffens=False).stiffness[0]
    loads = np.stack([frame.inertial_load(axis)[0] for axis in np.eye(3)], axis=1)
    still = np.linalg.solve(stiffness, loads)[:6]
    np.testing.assert_allclose(found.follow[0], still, atol=1e-8 * np.abs(still).max())
    omega, shape, drive = found.angular_frequency[0], found.shape[0], found.participation[0]
    rest = found.follow[0] - shape @ (drive / omega[:, None] ** 2)
    exact = natural_modes(frame, stiffness[None], 6).angular_frequency[0]
    np.testing.assert_allclose(omega[0], exact[0], rtol=1e-9)
    for at in (0.3 * exact[0], 0.5 * (exact[0] + exact[1]), 0.3 * exact[1] + 0.7 * exact[2]):
        answer = rest + shape @ (drive / (omega**2 - at**2)[:, None])
        expected = shaken(frame, stiffness, loads, at)
        # Modes below 1e-4 of the strongest answer as if without inertia.
        np.testing.assert_allclose(answer[:3], expected[:3], atol=1e-3 * np.abs(expected[:3]).max())


def test_loads_of_the_frame_and_its_own_unit_loads_are_the_same():
    frame = Frame(*pair())
    condensed = CondensedFrame(frame)
    settled = condensed.settle(WEIGHT)
    loads = np.stack([frame.inertial_load(axis) for axis in np.eye(3)], axis=2)
    one, other = (condensed.motion(settled, given, least_share=1e-4) for given in (None, loads))
    np.testing.assert_allclose(one.participation, other.participation, rtol=1e-8, atol=1e-12)
    for first, second in zip(one.elements, other.elements, strict=True):
        np.testing.assert_allclose(first, second, atol=1e-9 * np.abs(first).max())


def test_element_vectors_are_those_of_the_whole_frame():
    frame = Frame(*pair())
    condensed = CondensedFrame(frame)
    settled = condensed.settle(WEIGHT)
    found = condensed.motion(settled, least_share=1e-4).elements
    loads = np.stack([frame.inertial_load(axis) for axis in np.eye(3)], axis=2)
    whole = settle(frame, frame.inertial_load(WEIGHT))
    state = np.linalg.solve(whole.stiffness, loads)
    for element, vector in zip(frame.elements, found, strict=True):
        expected = frame.element_vector(element, state)
        np.testing.assert_allclose(vector[..., :3], expected, atol=1e-7 * np.abs(expected).max())


def beside(count, length=0.2, drop=0.0):
    """Two or three level rods into one prop, one above the other or in a triangle, so that some are pressed."""
    places = {2: [[0, 0.01], [0, -0.01]], 3: [[0, 0.012], [-0.01, -0.006], [0.01, -0.006]]}[count]
    line = round_line(2e-3)
    supports = [
        make_support([[x, y, -length], [x, y, 0]], line, root_stiffness=[np.inf, 50.0, 50.0])
        for x, y in places
    ]
    return supports, make_prop(0.3, [0, drop, 0.012], (6e-5, 9e-5, 7e-5))


@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize("drop", [-0.01, 0.02])
def test_buckling_factor_of_the_whole_frame(count, drop):
    frame = Frame(*beside(count, drop=drop))
    condensed = CondensedFrame(frame)
    found = condensed.buckling_factor(condensed.settle(WEIGHT))
    expected = settle(frame, frame.inertial_load(WEIGHT)).buckling_factor
    assert np.isfinite(expected).all()
    # A Ritz value is never low.
    np.testing.assert_allclose(found, expected, rtol=2e-4)
    assert np.all(found >= expected * (1 - 1e-9))


def any_rig(seed):
    """One to three supports from anywhere, in a ring of one kind or each its own, straight or bent."""
    rng = np.random.default_rng(seed)
    count, length, diameter = int(rng.integers(1, 4)), rng.uniform(0.05, 0.4), rng.uniform(1e-3, 6e-3)
    like, bent = rng.random() < 0.5, rng.random() < 0.3
    way = np.array([[0, 0, 1.0], [0, 1.0, 0], [0.5, 1.0, 0.7], rng.normal(size=3)])[rng.integers(4)]
    root = np.where(rng.random(3) < 0.5, np.inf, 10 ** rng.uniform(-1, 3, 3))
    supports = []
    for turn in 2 * np.pi * np.arange(count) / count + 0.3 * (not like):
        tip = (0.02 if like else rng.uniform(0.01, 0.05)) * np.array(
            [np.cos(turn), 0.3 * np.sin(turn), np.sin(turn)]
        )
        own = way if like else way + 0.2 * rng.normal(size=3)
        start = tip - length * own / np.linalg.norm(own)
        corners = [0.4 * start + 0.6 * tip + 0.1 * length * rng.normal(size=3)] if bent else []
        line = round_line(diameter if like else diameter * rng.uniform(0.6, 1.6))
        if rng.random() < 0.2:
            line = strip_line(3 * diameter, diameter)
        supports.append(
            make_support([start, *corners, tip], line, root_stiffness=root, width_direction=[1.0, 0.2, 0.1])
        )
    return supports, make_prop(10 ** rng.uniform(-2, 0.5), 0.01 * rng.normal(size=3), [1e-4, 1.3e-4, 0.8e-4])


def test_buckling_factor_of_any_rig_is_that_of_its_whole_frame():
    errors = []
    for seed in range(80):
        frame = Frame(*any_rig(seed))
        condensed = CondensedFrame(frame)
        found = condensed.buckling_factor(condensed.settle(WEIGHT))
        expected = settle(frame, frame.inertial_load(WEIGHT)).buckling_factor
        if np.isfinite(expected[0]) and 0 < expected[0] < 1e4:
            errors.append(found[0] / expected[0] - 1)
    assert len(errors) > 50
    # A Ritz value is never low. What design.md asks of buckling is a thousandth.
    assert min(errors) > -1e-7
    assert max(errors) < 1e-3
    assert np.median(errors) < 1e-6


def test_nothing_buckles_where_nothing_is_pressed():
    frame = Frame([make_support([[0, 0.2, 0], [0, 0, 0]], round_line(1e-3))], make_prop(0.1, [0, -0.01, 0]))
    condensed = CondensedFrame(frame)
    assert np.isinf(condensed.buckling_factor(condensed.settle(WEIGHT))).all()


def test_motion_does_not_depend_on_its_company():
    """A light prop needs more modes than a heavy one; what the modes do together is the same to rounding."""
    supports, _ = pair()
    props = [pair(mass=mass)[1] for mass in (0.002, 0.2, 20.0)]
    together = CondensedFrame(Frame([stack([support] * 3) for support in supports], stack(props)))
    found = together.motion(together.settle(WEIGHT, load_stiffens=False), least_share=1e-4)
    for index, prop in enumerate(props):
        frame = CondensedFrame(Frame(supports, prop))
        alone = frame.motion(frame.settle(WEIGHT, load_stiffens=False), least_share=1e-4)
        count = alone.angular_frequency.shape[1]
        np.testing.assert_allclose(
            found.angular_frequency[index, :count], alone.angular_frequency[0], rtol=1e-10
        )
        assert not found.shape[index, :, count:].any()
        moved, expected = (
            one.shape[row] @ (one.participation[row] / one.angular_frequency[row, :, None] ** 2)
            for one, row in ((found, index), (alone, 0))
        )
        np.testing.assert_allclose(moved, expected, rtol=1e-9, atol=1e-12 * np.abs(expected).max())


def test_rounding_does_not_show_in_the_modes():
    """Masses that differ in their last digits; on another processor the sums are taken in another order, too."""
    supports, _ = pair()
    masses = 0.002 * (1 + 1e-15 * np.arange(8))
    props = stack([pair(mass=mass)[1] for mass in masses])
    frame = CondensedFrame(Frame([stack([support] * 8) for support in supports], props))
    found = frame.motion(frame.settle(WEIGHT, load_stiffens=False), least_share=1e-4)
    frequencies = found.angular_frequency
    np.testing.assert_allclose(frequencies, frequencies[:1].repeat(8, 0), rtol=1e-10)
