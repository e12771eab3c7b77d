"""Natural modes: what every set of modes must satisfy, whatever the frame."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig_builders import GRAVITY, make_prop, make_support, round_line, stack, straight

from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Frame
from rigcheck.mechanics.modes import natural_modes
from rigcheck.mechanics.statics import settle

INERTIA = np.array([[3e-4, 4e-5, -2e-5], [4e-5, 2e-4, 3e-5], [-2e-5, 3e-5, 4e-4]])


def bent(root=(np.inf, 6.0, 9.0), order=None):
    support = make_support(
        [[0, 0, -0.2], [0, 0.01, -0.06], [0.02, 0.03, 0]], round_line(2e-3), root_stiffness=root
    )
    return Frame([support], make_prop(0.2, [0.03, 0.04, 0.01], INERTIA), order)


def test_modes_are_orthogonal_and_scaled_to_unit_mass():
    frame = bent()
    stiffness = settle(frame, frame.inertial_load([0, -GRAVITY, 0])).stiffness
    modes = natural_modes(frame, stiffness, 10)
    shape, omega = modes.shape[0], modes.angular_frequency[0]
    np.testing.assert_allclose(shape.T @ frame.mass[0] @ shape, np.eye(10), atol=1e-7)
    energy = shape.T @ stiffness[0] @ shape / np.outer(omega, omega)
    np.testing.assert_allclose(energy, np.eye(10), atol=1e-9)
    assert np.all(np.diff(omega) > 0)


def test_modes_satisfy_their_equation():
    frame = bent()
    modes = natural_modes(frame, frame.stiffness, 6)
    for omega, shape in zip(modes.angular_frequency[0], modes.shape[0].T, strict=True):
        # Through the flexibility: K^-1 M x omega^2 = x, which does not magnify rounding of stiff directions.
        again = np.linalg.solve(frame.stiffness[0], frame.mass[0] @ shape) * omega**2
        np.testing.assert_allclose(again, shape, atol=1e-7 * np.abs(shape).max())


def test_lowest_modes_are_the_first_of_all():
    frame = bent()
    every = natural_modes(frame, frame.stiffness)
    few = natural_modes(frame, frame.stiffness, 5)
    np.testing.assert_allclose(few.angular_frequency, every.angular_frequency[:, :5], rtol=1e-12)
    cut = every.lowest(5)
    np.testing.assert_array_equal(cut.angular_frequency, every.angular_frequency[:, :5])
    assert cut.shape.shape == (1, frame.size, 5)
    assert cut.participation.shape == (1, 5, 3)


def test_participation_is_the_modal_force_of_a_unit_acceleration():
    frame = bent()
    modes = natural_modes(frame, frame.stiffness, 6)
    for axis in range(3):
        load = frame.inertial_load(np.eye(3)[axis])[0]
        np.testing.assert_allclose(modes.participation[0, :, axis], modes.shape[0].T @ load, atol=1e-12)


@pytest.mark.parametrize("axial", [1, 2, 4])
def test_participating_masses_sum_to_the_mass(axial):
    """Along the wire all mass but 1/(p + 1)^2 of the wire takes part, with p the degree of the axial field.

    The modes span polynomials that vanish at the root, and the best of them for the constant 1 misses
    1/(p + 1)^2 of it: 1/sum (2 k + 1), k = 0..p, from Legendre polynomials at the end (derived here).
    """
    line = round_line(2e-3)
    support, prop = straight(line, 0.2, mass=1e-12)
    frame = Frame([support], prop, Order(bending=2, shear=None, axial=axial, torsion=1))
    modes = natural_modes(frame, frame.stiffness)
    own = line.mass_per_length * 0.2
    taking = np.sum(modes.participation[0] ** 2, axis=0)
    assert taking[0] / own == pytest.approx(1 - 1 / (axial + 2) ** 2, rel=1e-6)


def test_participating_masses_with_a_heavy_prop():
    """The held root takes a little of the wire's mass, the less the higher the order; never more than all."""
    line = round_line(2e-3)
    missing = []
    for bending in (3, 6, 12):
        support, prop = straight(line, 0.2, mass=0.1, reach=0.02, inertia=INERTIA)
        frame = Frame([support], prop, Order(bending=bending, shear=None, axial=bending, torsion=2))
        taking = np.sum(natural_modes(frame, frame.stiffness).participation[0] ** 2, axis=0)
        total = 0.1 + line.mass_per_length * 0.2
        assert np.all(taking < total * (1 + 1e-9))
        missing.append(total - taking)
    assert np.all(np.diff(missing, axis=0) < 0)
    assert np.all(missing[-1] < 0.03 * line.mass_per_length * 0.2)


@given(root=st.tuples(*[st.floats(0.05, 50.0)] * 3), axis=st.integers(0, 2), more=st.floats(1.1, 20.0))
def test_a_stiffer_root_lowers_no_frequency(root, axis, more):
    """Rayleigh: adding stiffness raises every natural frequency or leaves it."""
    stiffer = list(root)
    stiffer[axis] *= more
    order = Order(bending=4, shear=2)
    soft, stiff = (bent(value, order) for value in (root, stiffer))
    low, high = (natural_modes(frame, frame.stiffness, 8).angular_frequency for frame in (soft, stiff))
    assert np.all(high >= low * (1 - 1e-8))
    assert high.sum() > low.sum()


@given(mass=st.floats(0.01, 2.0), more=st.floats(1.05, 10.0))
def test_a_heavier_prop_raises_no_frequency(mass, more):
    line = round_line(2e-3)
    tones = []
    for value in (mass, mass * more):
        support, prop = straight(line, 0.2, mass=value, reach=0.02, inertia=INERTIA)
        frame = Frame([support], prop)
        tones.append(natural_modes(frame, frame.stiffness, 8).angular_frequency)
    assert np.all(tones[1] <= tones[0] * (1 + 1e-8))
    assert tones[1][0, 0] < tones[0][0, 0]


def test_higher_order_lowers_frequencies_toward_the_limit():
    """The fields of a higher order contain those of a lower one, so frequencies fall (Rayleigh-Ritz)."""
    before = None
    for bending, shear in ((2, 1), (4, 3), (6, 5), (9, 7)):
        frame = bent(order=Order(bending=bending, shear=shear, axial=2, torsion=2))
        now = natural_modes(frame, frame.stiffness, 6).angular_frequency
        assert before is None or np.all(now <= before * (1 + 1e-9))
        before = now


def test_a_point_mass_brings_no_modes_of_its_own_turning():
    """Its rotational inertia is zero; the mass matrix stays usable and every frequency finite."""
    line = replace(round_line(2e-3), rotary_inertia_y=0.0, rotary_inertia_z=0.0, polar_inertia=0.0)
    support, prop = straight(line, 0.2, mass=0.1)
    frame = Frame([support], prop, Order(bending=3, shear=None, axial=1, torsion=1))
    modes = natural_modes(frame, frame.stiffness)
    # 3 displacements and 2 turns about the cross axes and the internal functions of u, v, w: no twist at all.
    assert modes.angular_frequency.shape[1] == 5 + 1 + 2 * 3
    assert np.all(np.isfinite(modes.angular_frequency))


def test_a_batch_whose_variants_have_different_numbers_of_modes():
    """Those with fewer have infinite frequency and no shape in the rest, not a large number."""
    rigid, flexible = (
        straight(round_line(2e-3), 0.2, mass=0.1, inertia=INERTIA, root_stiffness=(np.inf, k, k))
        for k in (np.inf, 5.0)
    )
    order = Order(bending=3, shear=None, axial=1, torsion=1)
    frame = Frame([stack([rigid[0], flexible[0]])], stack([rigid[1], flexible[1]]), order)
    modes = natural_modes(frame, frame.stiffness)
    alone = Frame([rigid[0]], rigid[1], order)
    expected = natural_modes(alone, alone.stiffness).angular_frequency[0]
    count = len(expected)
    assert modes.angular_frequency.shape[1] == count + 2
    np.testing.assert_allclose(modes.angular_frequency[0, :count], expected, rtol=1e-8)
    assert np.all(modes.angular_frequency[0, count:] == np.inf)
    assert np.all(modes.shape[0, :, count:] == 0)
    assert np.all(modes.participation[0, count:] == 0)
    assert np.all(np.isfinite(modes.angular_frequency[1]))
