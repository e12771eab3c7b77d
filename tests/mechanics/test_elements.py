"""The element's basis: what each field must do by its definition, checked without assembling a frame."""

import numpy as np
import pytest
from numpy.polynomial import legendre

from rigcheck.mechanics.elements import END_FREEDOMS, Basis, Order

ORDERS = [
    Order(),
    Order(bending=2, shear=1, axial=1, torsion=1),
    Order(bending=5, shear=None, axial=3, torsion=4),
]
STATIONS = np.linspace(0, 1, 11)


def rigid(basis, *, shift=(0, 0, 0), turn=(0, 0, 0)):
    """Element vector of a rigid movement of an element of length 1 about its start."""
    vector = np.zeros(basis.size)
    vector[:3] = shift
    vector[6:9] = np.asarray(shift) + np.cross(turn, (1, 0, 0))
    vector[3:6] = vector[9:12] = turn
    return vector


@pytest.mark.parametrize("order", ORDERS, ids=str)
def test_rigid_movement_costs_no_energy_and_moves_every_station(order):
    basis = Basis.of(order)
    fields = basis.fields(STATIONS)
    shift, turn = np.array([0.3, -0.2, 0.5]), np.array([0.1, 0.4, -0.7])
    vector = rigid(basis, shift=shift, turn=turn)
    # Legendre values of order 10 reach 100; squared times 1e-16 leaves 1e-12.
    assert np.abs(basis.stiffness @ vector).max() < 1e-12
    expected = shift + np.cross(turn, STATIONS[:, None] * [1.0, 0, 0])
    np.testing.assert_allclose(fields.displacement @ vector, expected, atol=1e-13)


@pytest.mark.parametrize("order", ORDERS, ids=str)
def test_mass_of_rigid_movements(order):
    """Kinetic energy of a slender rod: m, m L^2/3 about its end; sections turn with their rho I."""
    basis = Basis.of(order)
    translation, rotation = rigid(basis, shift=(0, 1, 0)), rigid(basis, turn=(0, 0, 1))
    assert translation @ basis.mass[0] @ translation == pytest.approx(1, rel=1e-13)
    assert rotation @ basis.mass[0] @ rotation == pytest.approx(1 / 3, rel=1e-13)
    assert rotation @ basis.mass[1] @ rotation == pytest.approx(0 if order.shear is None else 1, rel=1e-13)
    twist = rigid(basis, turn=(1, 0, 0))
    assert twist @ basis.mass[3] @ twist == pytest.approx(1, rel=1e-13)


@pytest.mark.parametrize("order", ORDERS, ids=str)
def test_each_row_is_the_derivative_of_the_one_before(order):
    basis = Basis.of(order)
    step = 1e-5
    middle = np.linspace(0.1, 0.9, 9)
    before, here, after = (basis.fields(middle + shift) for shift in (-step, 0.0, step))

    def change(name):
        return (getattr(after, name) - getattr(before, name)) / (2 * step)

    # Central differences: truncation step^2 f'''/6, rounding 1e-16/step of the row.
    scale = np.abs(here.curvature_rate_v).max()
    displacement = change("displacement")
    np.testing.assert_allclose(displacement[:, 0], here.axial_strain, atol=1e-7)
    np.testing.assert_allclose(displacement[:, 1], here.slope_v, atol=1e-7)
    np.testing.assert_allclose(displacement[:, 2], here.slope_w, atol=1e-7)
    # The slope is that of bending plus the shear strain, so its change has both.
    bend = change("slope_v") - change("shear_v")
    np.testing.assert_allclose(bend, here.curvature_v, atol=1e-6)
    np.testing.assert_allclose(change("curvature_v"), here.curvature_rate_v, atol=1e-7 * scale)
    np.testing.assert_allclose(change("curvature_w"), here.curvature_rate_w, atol=1e-7 * scale)


def test_internal_functions_leave_the_ends_alone():
    basis = Basis.of(Order())
    fields = basis.fields(np.array([0.0, 1.0]))
    inner = np.s_[:, :, END_FREEDOMS:]
    np.testing.assert_allclose(fields.displacement[inner], 0, atol=1e-13)


def test_a_cubic_is_held_by_the_end_freedoms_alone():
    """v = x^2 (3 - x)/6 is the tip-loaded cantilever with EI = F = L = 1 (derived here)."""
    basis = Basis.of(Order(shear=None))
    vector = np.zeros(basis.size)
    vector[7], vector[11] = 1 / 3, 1 / 2
    fields = basis.fields(STATIONS)
    np.testing.assert_allclose(
        fields.displacement[:, 1] @ vector, STATIONS**2 * (3 - STATIONS) / 6, atol=1e-14
    )
    np.testing.assert_allclose(fields.curvature_v @ vector, 1 - STATIONS, atol=1e-13)
    np.testing.assert_allclose(fields.curvature_rate_v @ vector, -1, atol=1e-12)


def test_the_slope_of_w_is_minus_the_rotation_about_y():
    basis = Basis.of(Order(shear=None))
    vector = np.zeros(basis.size)
    vector[4] = 1.0
    fields = basis.fields(np.array([0.0]))
    assert (fields.slope_w @ vector)[0] == pytest.approx(-1)


def test_tension_stiffness_of_a_string():
    """A straight slope t costs 1/2 N t^2 L; tension that varies counts by its mean (derived here)."""
    basis = Basis.of(Order())
    turned = rigid(basis, turn=(0, 0, 1))
    start, end = (turned @ part @ turned for part in basis.tension)
    assert (start, end) == pytest.approx((0.5, 0.5), rel=1e-13)
    parabola = np.zeros(basis.size)  # v = x^2, slope 2 x: int (2 x)^2 (1 - x) = 1/3, int (2 x)^2 x = 1
    parabola[7], parabola[11] = 1.0, 2.0
    assert [parabola @ part @ parabola for part in basis.tension] == pytest.approx([1 / 3, 1.0], rel=1e-12)


def test_integrals_are_exact_for_the_highest_order():
    """The matrices against a rule of far more points (Gauss-Legendre, exact to degree 2 n - 1)."""
    order = Order(bending=12, shear=9, axial=5, torsion=6)
    basis = Basis.of(order)
    nodes, weights = legendre.leggauss(40)
    fields = basis.fields((nodes + 1) / 2)
    weights = weights / 2
    for rows, matrix in (
        (fields.curvature_v, basis.stiffness[2]),
        (fields.curvature_w, basis.stiffness[3]),
        (fields.shear_w, basis.stiffness[5]),
    ):
        np.testing.assert_allclose((rows * weights[:, None]).T @ rows, matrix, atol=1e-10)
    moved = np.einsum("s,sij,sik->jk", weights, fields.displacement, fields.displacement)
    np.testing.assert_allclose(moved, basis.mass[0], atol=1e-12)


def test_the_basis_of_an_order_is_built_once():
    assert Basis.of(Order(bending=4)) is Basis.of(Order(bending=4))
    assert Basis.of(Order(bending=4)) is not Basis.of(Order(bending=5))
