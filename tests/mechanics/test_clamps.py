"""Clamps: elastic bed against a boundary-value solver and the materials data, play, slip, messages."""

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.clamps import (
    bed_root,
    clamp_force_from_screw,
    friction_capacity,
    friction_force_needed,
    play_angle,
    play_at_tip,
    roll_torque,
    slip_use,
)

# In wire diameters and units of the wire's E: EI = pi d^4 / 64, bed modulus k/E.
EI = np.pi / 64


@pytest.mark.parametrize(
    ("bed", "grip", "diameters"),
    # Materials data, section 5 (derived there): collet, hard plastic, wood, foam; two printed digits.
    [
        (0.3, 3, 0.9),
        (1.0, 3, 0.7),
        (0.01, 5, 2.1),
        (0.01, 3, 3.3),
        (0.01, 2, 7.7),
        (0.002, 9, 3.2),
        (0.002, 5, 4.1),
        (0.002, 3, 11),
        (2.5e-5, 28, 9),
    ],
)
def test_added_lengths_of_the_materials_data(bed, grip, diameters):
    root = bed_root(bending_stiffness=EI, bed_modulus=bed, grip_length=grip)
    # The rows with a short grip come out at a support of 100 diameters, the shift of the root included; for a
    # pure moment the 2 d and 3 d rows would be 8.1 and 12.0.
    # The same tip sag under a tip load: (L + a)^3 / 3 = L^3 / 3 + EI (L^2 c_mm + 2 L c_mf + c_ff).
    support = 100.0
    given = (
        root.rotation_per_moment * support**2
        + 2 * root.displacement_per_moment * support
        + root.displacement_per_force
    )
    length = np.cbrt(support**3 + 3 * EI * given) - support
    # Half a unit of the last printed digit, and a little for 3.25 that the row rounds up.
    np.testing.assert_allclose(length, diameters, rtol=0, atol=0.5 if diameters in (9, 11) else 0.06)


@pytest.mark.parametrize("x", [0.09, 0.3, 1.0, 2.0, 5.0, 12.0])
def test_bed_root_against_a_boundary_value_solver(x):
    """EI w'''' + k w = 0 on the grip: force and moment at one end, the other free; solved by collocation."""
    stiffness, grip = 2.0, 0.7
    beta = x / grip
    k = 4 * stiffness * beta**4
    root = bed_root(bending_stiffness=stiffness, bed_modulus=k, grip_length=grip)

    def solved(moment, force):
        # u = scaled (w, w', M/EI, V/EI) with the coordinate over the grip, loaded end at 1.
        def slope(_, u):
            return np.stack([u[1], u[2], u[3], -4 * x**4 * u[0]])

        def ends(a, b):
            return np.array([a[2], a[3], b[2] - moment, b[3] + force])

        grid = np.linspace(0, 1, 101)
        return solve_bvp(slope, ends, grid, np.zeros((4, 101)), tol=1e-9, max_nodes=50_000).y[:, -1]

    # Unit moment M: w'' = M l^2 / EI in the scaled coordinate; unit force F: w''' = -F l^3 / EI at that end.
    by_moment = solved(grip**2 / stiffness, 0.0)
    by_force = solved(0.0, grip**3 / stiffness)
    # The solver is asked for 1e-9; a soft bed (small x) magnifies it by 1 / x^4.
    tolerance = 1e-7
    np.testing.assert_allclose(root.rotation_per_moment, by_moment[1] / grip, rtol=tolerance)
    np.testing.assert_allclose(root.displacement_per_moment, by_moment[0], rtol=tolerance)
    np.testing.assert_allclose(root.displacement_per_force, by_force[0], rtol=tolerance)
    # Maxwell: rotation by a force is the displacement by a moment.
    np.testing.assert_allclose(by_force[1] / grip, by_moment[0], rtol=tolerance)


def test_long_and_short_grips_reach_their_limits():
    long = bed_root(bending_stiffness=3.0, bed_modulus=48.0, grip_length=[20.0, 2000.0])
    beta = (48 / 12) ** 0.25
    np.testing.assert_allclose(long.rotational_stiffness, beta * 3.0, rtol=1e-12)
    np.testing.assert_allclose(long.added_length, 1 / beta, rtol=1e-12)
    # A rigid rod on springs turns about its middle: k l^3 / 12.
    short = bed_root(bending_stiffness=3.0, bed_modulus=48.0, grip_length=1e-4)
    np.testing.assert_allclose(short.rotational_stiffness, 48.0 * 1e-12 / 12, rtol=1e-9)


def test_series_and_formula_meet():
    just = np.array([0.1 * (1 - 1e-9), 0.1 * (1 + 1e-9)])
    root = bed_root(bending_stiffness=1.0, bed_modulus=4.0, grip_length=just)
    for value in (root.rotation_per_moment, root.displacement_per_moment, root.displacement_per_force):
        # The length itself moves the values by up to 6e-9; the cut of the series is x^8 / 1000 = 1e-11.
        np.testing.assert_allclose(value[0], value[1], rtol=1e-8)


def test_play_of_the_materials_data():
    # 0.1 mm over 6 mm grip is 5 mm at 300 mm (section 5).
    np.testing.assert_allclose(play_at_tip(clearance=0.1e-3, grip_length=6e-3, free_length=0.3), 5e-3)
    np.testing.assert_allclose(play_angle(clearance=[0.0, 0.1e-3], grip_length=6e-3), [0, 1 / 60])


def test_roll_slip_by_hand():
    """100 g, 20 mm off the axis, 4e-5 kg m^2 at 5 rad/s^2, 3 mm wire: derived here."""
    torque = roll_torque(mass=0.1, unbalance_arm=0.02, inertia_about_axis=4e-5, angular_acceleration=5.0)
    np.testing.assert_allclose(torque, 0.1 * 9.80665 * 0.02 + 2e-4)
    upright = roll_torque(
        mass=0.1, unbalance_arm=0.02, inertia_about_axis=4e-5, angular_acceleration=5.0, gravity_across=0.0
    )
    np.testing.assert_allclose(upright, 2e-4)
    friction = friction_force_needed(torque=torque, diameter=3e-3)
    np.testing.assert_allclose(friction * 1.5e-3, torque)
    # A screw force N holds it with two contacts of mu N each.
    capacity = friction_capacity(clamp_force=friction / (2 * 0.15), friction_coefficient=0.15)
    np.testing.assert_allclose(capacity, friction)
    use = slip_use(torque=torque, axial_force=0.0, diameter=3e-3, capacity=capacity)
    np.testing.assert_allclose(use, 1.0)
    both = slip_use(torque=torque, axial_force=friction, diameter=3e-3, capacity=capacity)
    np.testing.assert_allclose(both, 2**0.5)


def test_screw_force_common_practice():
    # T = 0.2 F d: 1 N m on M4 is 1250 N.
    np.testing.assert_allclose(clamp_force_from_screw(screw_torque=1.0, nominal_diameter=4e-3), 1250)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: bed_root(bending_stiffness=1.0, bed_modulus=-1.0, grip_length=1.0), "bed_modulus is -1.0"),
        (lambda: play_angle(clearance=-1e-3, grip_length=1.0), "0 or more and finite"),
        (lambda: friction_force_needed(torque=1.0, diameter=np.inf), "diameter is inf"),
    ],
)
def test_wrong_input_says_what_is_allowed(call, says):
    with pytest.raises(ArgumentError, match=says):
        call()
