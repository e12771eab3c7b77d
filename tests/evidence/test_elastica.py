"""Large sag against the elastica: elliptic integrals, and shooting with the rod equations in three
dimensions."""

from dataclasses import replace

import numpy as np
import pytest
from rig_builders import GRAVITY, make_prop, make_support, require_settled, round_line, straight, strip_line
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, root
from scipy.special import ellipe, ellipeinc, ellipk, ellipkinc

from rigcheck.mechanics.large import MovedFrame, large_modes, settle_large

pytestmark = pytest.mark.evidence(
    what="Large sag",
    source="Elastica of Bisshopp and Drucker (1945) by elliptic integrals; rod equations integrated by scipy",
    serves="check",
)

DOWN = np.array([0.0, -GRAVITY, 0.0])
LENGTH = 0.5
WIRE = round_line(0.002)


def thread(line):
    """Without weight, and so stiff in stretch and shear that only bending is left: 1e-7 of the length at
    most."""
    stiff = 1e2 * line.axial_stiffness
    return replace(
        line, mass_per_length=1e-12, axial_stiffness=stiff, shear_stiffness_y=stiff, shear_stiffness_z=stiff
    )


# -- end load ----------------------------------------------------------------------------------------------


def bisshopp_drucker(alpha_squared):
    """Tip slope, drop and reach over the length, for ``P L^2 / EI``.

    K. E. Bisshopp and D. C. Drucker, Large deflection of cantilever beams, Quarterly of Applied Mathematics 3
    (1945) 272-275: with k^2 = (1 + sin phi0)/2 and sin(theta1) = 1/(k sqrt 2),
    ``alpha = F(k) - F(k, theta1)``, ``drop = 1 - 2 [E(k) - E(k, theta1)] / alpha``,
    ``reach = sqrt(2 sin phi0) / alpha``. scipy takes the parameter k^2.
    """

    def parts(slope):
        k2 = (1 + np.sin(slope)) / 2
        theta = np.arcsin(1 / np.sqrt(2 * k2))
        alpha = ellipk(k2) - ellipkinc(theta, k2)
        drop = 1 - 2 / alpha * (ellipe(k2) - ellipeinc(theta, k2))
        return alpha**2 - alpha_squared, drop, np.sqrt(2 * np.sin(slope)) / alpha

    slope = brentq(lambda value: parts(value)[0], 1e-9, np.pi / 2 - 1e-9, xtol=1e-15)
    return slope, parts(slope)[1], parts(slope)[2]


def end_loaded(alpha_squared, **settings):
    line = thread(WIRE)
    support, prop = straight(
        line, LENGTH, mass=alpha_squared * line.bending_stiffness_z / LENGTH**2 / GRAVITY
    )
    large = require_settled(settle_large([support], prop, DOWN, **settings))
    x, y, _ = large.tip_displacement[0][0] / LENGTH
    return large, -large.prop_rotation[0, 2], -y, 1 + x


# K. Mattiasson, Numerical results from large deflection beam and frame problems analysed by means of elliptic
# integrals, International Journal for Numerical Methods in Engineering 17 (1981) 145-153; five printed
# digits, from memory: P L^2 / EI, drop, shortening, slope.
MATTIASSON = [
    (1.0, 0.30172, 0.05643, 0.46135),
    (2.0, 0.49346, 0.16064, 0.78175),
    (5.0, 0.71379, 0.38763, 1.21537),
    (10.0, 0.81061, 0.55500, 1.43029),
]


@pytest.mark.parametrize(("load", "drop", "shortening", "slope"), MATTIASSON)
def test_end_load_against_mattiasson(load, drop, shortening, slope):
    found = end_loaded(load)[1:]
    # Half a unit of the last printed digit.
    np.testing.assert_allclose(found, (slope, drop, 1 - shortening), atol=6e-6)


@pytest.mark.parametrize("load", [0.01, 0.1, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 30.0, 100.0])
def test_end_load_against_elliptic_integrals(load):
    slope, drop, reach = bisshopp_drucker(load)
    large, *found = end_loaded(load)
    # Far below the 0.01 % wanted; the limit is what is left of stretch and shear in the thread, 1e-7 of the
    # length, up to 10, and the mesh beyond.
    np.testing.assert_allclose(found, (slope, drop, reach), rtol=1e-6 if load <= 10 else 3e-5)
    wanted = load * WIRE.bending_stiffness_z / LENGTH * reach
    assert large.root_moment[0][0, 2] == pytest.approx(wanted, rel=1e-6 if load <= 10 else 3e-5)


@pytest.mark.parametrize("load", [400.0, 1000.0])
def test_a_hanging_thread_bends_in_a_boundary_layer(load):
    # The limit of the same integrals for a long thread (derived here): the end hangs straight down, with
    # reach sqrt(2)/alpha and drop 1 - (2 - sqrt 2)/alpha; what is left out falls as exp(-alpha).
    alpha = np.sqrt(load)
    large, slope, drop, reach = end_loaded(load)
    assert slope == pytest.approx(np.pi / 2, rel=1e-6)
    assert reach == pytest.approx(np.sqrt(2) / alpha, rel=1e-4)
    assert drop == pytest.approx(1 - (2 - np.sqrt(2)) / alpha, rel=1e-4)
    assert large.mesh_error[0] < 1e-2


def test_the_elements_converge():
    slope, drop, reach = bisshopp_drucker(10.0)
    errors = []
    for elements in (4, 8, 16):
        found = end_loaded(10.0, order=2, elements=elements)[1:]
        errors.append(np.max(np.abs(np.subtract(found, (slope, drop, reach)))))
    # Nodes of order 2 with 2 Gauss points: the error falls with the fourth power of the element, 16 times a
    # halving.
    assert errors[0] / errors[1] > 10
    assert errors[1] / errors[2] > 12


# -- own weight --------------------------------------------------------------------------------------------


def rohde(slope, terms=70):
    """``w L^3 / EI``, drop and reach over the length of a level cantilever under its own weight.

    F. Virginia Rohde, Large deflections of a cantilever beam with uniformly distributed load, Quarterly of Applied
    Mathematics 11 (1953) 337-338: the slope as a power series of the distance s from the free end. The paper itself
    was not at hand; its first terms, ``a3 = -G cos(a) / 6`` and ``a6 = -G^2 sin(a) cos(a) / 180`` with a the slope at
    the free end and ``G = w L^3 / EI``, were seen in a public program that quotes it, and are checked below. Here the
    series goes on to any order by the recurrence of ``theta'' = -G s cos(theta)`` with ``c = cos(theta)`` and
    ``d = sin(theta)``, ``c' = -d theta'`` and ``d' = c theta'`` (derived here). No printed table of the heavy
    elastica could be had (Bickley 1934; Wang 1986): this series and shooting, further below, stand for one.
    """

    def series(load):
        theta, c, d = np.zeros(terms), np.zeros(terms), np.zeros(terms)
        theta[0], c[0], d[0] = slope, np.cos(slope), np.sin(slope)
        for n in range(terms - 1):
            # theta''_n = (n + 2)(n + 1) theta_(n+2) = -load c_(n-1)
            if n + 2 < terms:
                theta[n + 2] = -load * (c[n - 1] if n else 0.0) / ((n + 2) * (n + 1))
            rate = theta[1 : n + 2] * np.arange(1, n + 2)
            c[n + 1] = -(d[: n + 1] @ rate[::-1]) / (n + 1)
            d[n + 1] = c[: n + 1] @ rate[::-1] / (n + 1)
        return theta, c, d

    # The first load from nothing at which the root is level; a first-order guess is 6 times the slope.
    high = 5.0 * slope
    while np.sum(series(high)[0]) > 0:
        high *= 1.05
    load = brentq(lambda value: np.sum(series(value)[0]), high / 1.05, high, xtol=1e-14)
    theta, c, d = series(load)
    np.testing.assert_allclose(theta[3], -load * np.cos(slope) / 6, rtol=1e-12)
    np.testing.assert_allclose(theta[6], -(load**2) * np.sin(slope) * np.cos(slope) / 180, rtol=1e-12)
    places = np.arange(1, terms + 1)
    return load, np.sum(d / places), np.sum(c / places)


@pytest.mark.parametrize("slope", [0.05, 0.2, 0.5, 0.8, 1.0, 1.2])
def test_own_weight_against_the_power_series(slope):
    load, drop, reach = rohde(slope)
    np.testing.assert_allclose(rohde(slope, 50), (load, drop, reach), rtol=1e-5)  # the series has converged
    heavy = load * WIRE.bending_stiffness_z / LENGTH**3 / GRAVITY
    line = replace(thread(WIRE), mass_per_length=heavy)
    support, prop = straight(line, LENGTH, mass=1e-9)
    large = require_settled(settle_large([support], prop, DOWN))
    x, y, _ = large.tip_displacement[0][0] / LENGTH
    # Goal 0.1 %.
    np.testing.assert_allclose([-large.prop_rotation[0, 2], -y, 1 + x], [slope, drop, reach], rtol=2e-5)


# -- shooting with the rod equations -----------------------------------------------------------------------
# r' = R (t + C^-1 R^T n), R' = [R D^-1 R^T m] R, n' = -q, m' = n x r' (S. S. Antman, Nonlinear Problems of
# Elasticity, chapter on rods; from memory), integrated from the root by scipy. Nothing of the engine is used:
# the rotation is carried as nine numbers, and the force at the root of one support is known from statics.


def hat(v):
    zero = np.zeros_like(v[0])
    return np.array([[zero, -v[2], v[1]], [v[2], zero, -v[0]], [-v[1], v[0], zero]])


class Shooting:
    """One support, one variant, with a prop whose centre of mass stands off the tip."""

    def __init__(self, support, prop, gravity):
        self.points = support.points[0]
        self.mass, self.centre, self.inertia = prop.mass[0], prop.centre_of_mass[0], prop.inertia[0]
        self.gravity = gravity
        names = ("axial_stiffness", "shear_stiffness_y", "shear_stiffness_z")
        self.stretch = np.array([getattr(support, name)[0] for name in names]).T
        names = ("torsional_stiffness", "bending_stiffness_y", "bending_stiffness_z")
        self.bend = np.array([getattr(support, name)[0] for name in names]).T
        names = ("polar_inertia", "rotary_inertia_y", "rotary_inertia_z")
        self.spin = np.array([getattr(support, name)[0] for name in names]).T
        self.density = support.mass_per_length[0]
        steps = np.diff(self.points, axis=0)
        self.lengths = np.linalg.norm(steps, axis=1)
        self.axes = []
        for index, step in enumerate(steps):
            along = step / self.lengths[index]
            width = (
                np.array([0.0, 1.0, 0.0])
                if support.width_direction is None
                else support.width_direction[0, index]
            )
            across = width - (width @ along) * along
            across /= np.linalg.norm(across)
            self.axes.append(np.array([along, across, np.cross(along, across)]))
        self.root_force = -(self.mass + self.density @ self.lengths) * gravity

    def rate(self, piece, state, omega2=0.0):
        """Derivative of (r, R, n, m), each column one state; complex numbers pass through."""
        place, turn, force, moment = state[:3], state[3:12].reshape(3, 3, -1), state[12:15], state[15:]
        axes = self.axes[piece]
        local = np.einsum("ai,jic,jc->ac", axes, turn.transpose(0, 1, 2), force)
        strain = local / self.stretch[piece][:, None]
        curve = np.einsum("ai,jic,jc->ac", axes, turn, moment) / self.bend[piece][:, None]
        strain[0] += 1
        along = np.einsum("ijc,aj,ac->ic", turn, axes, strain)
        curvature = np.einsum("ijc,aj,ac->ic", turn, axes, curve)
        turned = np.einsum("ijc,jkc->ikc", hat(curvature), turn)
        del place, omega2
        n_rate = np.broadcast_to(-(self.density[piece] * self.gravity)[:, None], force.shape)
        m_rate = np.cross(force, along, axis=0)
        return np.concatenate([along, turned.reshape(9, -1), n_rate, m_rate])

    def static(self, root_moment):
        """State along the support for a moment at the root: list of solutions, one a piece."""
        state = np.concatenate([self.points[0], np.eye(3).ravel(), -self.root_force, -root_moment])
        for piece, length in enumerate(self.lengths):
            found = solve_ivp(
                lambda _, y, piece=piece: self.rate(piece, y[:, None])[:, 0],
                (0, length), state, method="DOP853", rtol=1e-11, atol=1e-13,
            )  # fmt: skip
            state = found.y[:, -1]
        return state

    def settle(self, guess):
        """Root moment for which the tip carries the prop and nothing else."""

        def miss(moment):
            state = self.static(moment)
            arm = state[3:12].reshape(3, 3) @ (self.centre - self.points[-1])
            return state[15:] - np.cross(arm, self.mass * self.gravity)

        found = root(miss, guess, tol=1e-13)
        state = self.static(found.x)
        turn = state[3:12].reshape(3, 3)
        return found.x, state[:3] + turn @ (self.centre - self.points[-1]) - self.centre, turn

    def mode_determinant(self, root_moment, omega):
        """Vanishes at a natural frequency of small motion about the settled state.

        The six unknown forces at the root give six motions of the tip, which must need exactly the forces
        that the moving prop puts there. Derivatives of the rate by complex steps.
        """
        state = np.concatenate([self.points[0], np.eye(3).ravel(), -self.root_force, -root_moment])
        small = np.zeros((18, 6))
        small[12:] = np.eye(6) * np.repeat([1.0, LENGTH], 3)
        h = 1e-30
        for piece, length in enumerate(self.lengths):
            axes, inertia = self.axes[piece], np.diag(self.spin[piece])

            def rate(_, y, piece=piece, axes=axes, inertia=inertia):
                y = y.reshape(18, 7)
                base, motion = y[:, :1], y[:, 1:]
                change = self.rate(piece, base + 1j * h * motion).imag / h
                turn = base[3:12].reshape(3, 3)
                spins = np.array([self.spin_of(motion[3:12, k].reshape(3, 3), turn) for k in range(6)]).T
                body = turn @ axes.T @ inertia @ axes @ turn.T
                change[12:15] -= omega**2 * self.density[piece] * motion[:3]
                change[15:] -= omega**2 * body @ spins
                return np.concatenate([self.rate(piece, base), change], axis=1).ravel()

            start = np.concatenate([state[:, None], small], axis=1).ravel()
            found = solve_ivp(rate, (0, length), start, method="DOP853", rtol=1e-10, atol=1e-12)
            end = found.y[:, -1].reshape(18, 7)
            state, small = end[:, 0], end[:, 1:]
        turn = state[3:12].reshape(3, 3)
        arm = turn @ (self.centre - self.points[-1])
        spins = np.array([self.spin_of(small[3:12, k].reshape(3, 3), turn) for k in range(6)]).T
        centre = small[:3] + np.cross(spins, arm[:, None], axis=0)
        # Force and moment of the prop on the tip, and the turning of the arm under its weight.
        force = omega**2 * self.mass * centre
        weight = self.mass * self.gravity
        swing = np.cross(np.cross(spins, arm[:, None], axis=0), weight[:, None], axis=0)
        moment = (
            omega**2 * turn @ self.inertia @ turn.T @ spins + np.cross(arm[:, None], force, axis=0) + swing
        )
        miss = np.concatenate([small[12:15] - force, (small[15:] - moment) / LENGTH])
        return np.linalg.det(miss / np.linalg.norm(miss, axis=0))

    @staticmethod
    def spin_of(change, turn):
        skew = change @ turn.T
        return np.array([skew[2, 1] - skew[1, 2], skew[0, 2] - skew[2, 0], skew[1, 0] - skew[0, 1]]) / 2


def sagging(name):
    if name == "own weight":
        return make_support([[0, 0, 0], [1.3, 0, 0]], round_line(0.002)), make_prop(1e-9, [1.3, 0, 0])
    if name == "prop off the axis":
        support, prop = straight(round_line(0.002), 0.4, mass=0.12)
        return support, replace(
            prop,
            centre_of_mass=np.array([[0.42, 0.01, 0.03]]),
            inertia=np.array([np.diag([4e-5, 3e-5, 5e-5])]),
        )
    strip = strip_line(0.008, 0.001)
    return make_support(
        [[0, 0, 0], [0.2, 0, 0], [0.25, 0.05, 0.15]],
        [strip, round_line(0.0018)],
        width_direction=[[0, 0.3, 1.0], [0, 1.0, 0]],
    ), make_prop(0.12, [0.26, 0.05, 0.16], (4e-5, 3e-5, 5e-5))


@pytest.mark.parametrize("name", ["own weight", "prop off the axis", "bent strip and wire"])
def test_sag_and_modes_against_shooting(name):
    support, prop = sagging(name)
    large = require_settled(settle_large([support], prop, DOWN))
    shooting = Shooting(support, prop, DOWN)
    moment, displacement, turn = shooting.settle(large.root_moment[0][0])
    length = np.sum(shooting.lengths)
    assert np.linalg.norm(displacement) > 0.2 * length
    np.testing.assert_allclose(large.prop_displacement[0], displacement, atol=1e-6 * length)
    np.testing.assert_allclose(large.prop_rotation_matrix[0], turn, atol=2e-6)
    np.testing.assert_allclose(large.root_moment[0][0], moment, atol=2e-6 * np.linalg.norm(moment))
    # The prop of nothing has no rotary inertia: its six modes are those of the wire alone.
    found = large_modes(large, 4).angular_frequency[0]
    for omega in found:
        # The determinant changes sign at the exact frequency, and does so within this of ours.
        near = 2e-5
        low, high = (shooting.mode_determinant(moment, omega * (1 + side)) for side in (-near, near))
        assert low * high < 0


def test_section_forces_of_a_mode_against_small_motion():
    # The prop is shifted a little along the lowest mode by an extra weight that only that mode feels: section
    # forces then change as the mode says.
    support, prop = sagging("prop off the axis")
    large = require_settled(settle_large([support], prop, DOWN))
    frame = MovedFrame(large)
    stations = np.array([0.0, 0.25, 0.6])
    step = 1e-4
    push = np.array([0.3, -0.5, 1.0])
    ahead, behind = (
        require_settled(settle_large([support], prop, DOWN + side * step * push)) for side in (1, -1)
    )
    response = np.linalg.solve(frame.stiffness, frame.inertial_load(push)[..., None])
    found = frame.section_forces(response, stations)[0]
    np.testing.assert_allclose(
        response[0, :3, 0],
        (ahead.prop_displacement - behind.prop_displacement)[0] / (2 * step),
        rtol=1e-5,
        atol=1e-8,
    )
    for part in ("axial", "shear_y", "shear_z", "torque", "moment_y", "moment_z"):
        high, low = (getattr(state.section_forces(stations)[0], part) for state in (ahead, behind))
        value = getattr(found, part)[..., 0]
        np.testing.assert_allclose(
            value, (high - low) / (2 * step), rtol=1e-5, atol=1e-5 * np.abs(value).max()
        )
