"""Straight beams by their differential equations: frequencies, settled states and buckling without elements.

Everything is derived here from equilibrium of a slice, and solved as an initial value problem from the root
to the tip; the end conditions at the tip then give a determinant whose zeros are found by bracketing. The
beam runs along x. w is the displacement across, theta the rotation of the section, M the moment, F the force
across in a fixed direction, N the tension:

    w'     = (theta + F/kGA) / (1 + N/kGA)        (shear strain w' - theta = (F - N w')/kGA, as Engesser)
    theta' = M / EI
    M'     = -(F - N w') - omega^2 rho I theta
    F'     = -omega^2 rho A w  - q

Euler-Bernoulli is kGA = infinity and rho I = 0. At the tip a rigid prop of mass m, moment of inertia J about
its centre of mass, `reach` a beyond the tip, with its weight P pulling along +x:

    F = omega^2 m (w + a theta),    M = omega^2 J theta + a F - P a theta
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.linalg import expm


@dataclass(frozen=True, kw_only=True)
class Beam:
    """One plane of a straight support with its prop, SI units."""

    flexural_rigidity: float
    free_length: float
    mass_per_length: float
    shear_stiffness: float = np.inf
    rotary_inertia: float = 0.0
    mass: float = 0.0
    reach: float = 0.0
    inertia: float = 0.0
    root_stiffness: float = np.inf
    tip_pull: float = 0.0
    own_pull: float = 0.0
    """Own weight per length along +x [N/m], so that the tension is tip_pull + own_pull (L - x)."""

    @property
    def scale(self) -> float:
        """Angular frequency sqrt(EI / (rho A L^4))."""
        return float(np.sqrt(self.flexural_rigidity / self.mass_per_length) / self.free_length**2)

    def slope_matrix(self, place, square):
        """A(x) of z' = A z with z = (w/L, theta, M L/EI, F L^2/EI) over x/L; `square` is (omega/scale)^2."""
        L, EI = self.free_length, self.flexural_rigidity
        soft = EI / (self.shear_stiffness * L**2)
        heavy = self.rotary_inertia / (self.mass_per_length * L**2)
        pull = (self.tip_pull + self.own_pull * L * (1 - place)) * L**2 / EI
        give = 1 / (1 + pull * soft)
        square = np.asarray(square, dtype=float)
        result = np.zeros((*square.shape, 4, 4))
        result[..., 0, 1], result[..., 0, 3] = give, soft * give
        result[..., 1, 2] = 1.0
        result[..., 2, 1] = pull * give - square * heavy
        result[..., 2, 3] = pull * soft * give - 1.0
        result[..., 3, 0] = -square
        return result

    def start(self):
        """The two states that the root allows, as columns."""
        L, EI = self.free_length, self.flexural_rigidity
        return np.array([[0.0, 0.0], [EI / (self.root_stiffness * L), 0.0], [1.0, 0.0], [0.0, 1.0]])

    def tip_rows(self, square):
        """The two conditions at the tip as rows, shape (..., 2, 4)."""
        L, EI = self.free_length, self.flexural_rigidity
        square = np.asarray(square, dtype=float)
        m = square * self.mass / (self.mass_per_length * L)
        J = square * self.inertia / (self.mass_per_length * L**3)
        a = self.reach / L
        P = self.tip_pull * L**2 / EI
        rows = np.zeros((*square.shape, 2, 4))
        rows[..., 0, 0], rows[..., 0, 1], rows[..., 0, 3] = -m, -m * a, 1.0
        rows[..., 1, 1], rows[..., 1, 2], rows[..., 1, 3] = P * a - J, 1.0, -a
        return rows

    def determinant(self, root):
        """Zero at the natural frequencies; `root`, shape (n,), is sqrt(omega/scale), the beta L of the
        handbooks.

        Two growing solutions become alike and their determinant drowns in rounding, so not they but their six
        2 x 2 minors are carried from root to tip (the compound matrix method); the determinant is then the
        sum of minors at the tip times minors of the tip's conditions (Cauchy-Binet).
        """
        square = np.asarray(root, dtype=float) ** 4
        begin = minors(self.start())
        if self.tip_pull == 0 and self.own_pull == 0:
            end = expm(compound(self.slope_matrix(0.0, square))) @ begin
        else:
            shape = (*square.shape, 6)
            # A is linear in omega^2, and only the rest of it changes along the beam.
            heavy = compound(self.slope_matrix(0.0, np.ones(())) - self.slope_matrix(0.0, np.zeros(())))

            def slope(x, z):
                columns = z.reshape(shape)
                still = compound(self.slope_matrix(x, np.zeros(())))
                return (columns @ still.T + square[:, None] * (columns @ heavy.T)).ravel()

            first = np.broadcast_to(begin, shape).ravel()
            run = solve_ivp(slope, (0.0, 1.0), first, method="DOP853", rtol=1e-11, atol=1e-14)
            end = run.y[:, -1].reshape(shape)
        return np.sum(minors(np.swapaxes(self.tip_rows(square), -1, -2)) * end, axis=-1)

    def angular_frequencies(self, count: int) -> np.ndarray:
        """The lowest `count` natural angular frequencies of this plane [rad/s]."""
        # Roots of a heavy prop lie close to zero, hence the fine start; tension moves the high ones up as
        # those of a string, omega = n pi sqrt(N/(rho A))/L.
        pull = max(self.tip_pull + self.own_pull * self.free_length, 0.0)
        string = pull * self.free_length**2 / self.flexural_rigidity
        last = np.pi * (count + 1) * max(1.0, (string / (np.pi * (count + 1)) ** 2) ** 0.25)
        grid = np.concatenate([np.geomspace(1e-3, 0.2, 40), np.arange(0.21, last, 0.04)])
        return zeros(self.determinant, grid, count) ** 2 * self.scale

    def settled(self, load_across: float, tip_force: float, stations) -> np.ndarray:
        """w, theta, M, F at stations x/L under a uniform load across [N/m] and a force at the prop's centre
        [N]."""
        L, EI = self.free_length, self.flexural_rigidity
        spread = load_across * L**3 / EI

        def slope(x, z):
            change = self.slope_matrix(x, np.zeros(()))
            columns = z.reshape(4, 3)
            result = change @ columns
            result[3, 2] -= spread
            return result.ravel()

        begin = np.column_stack([self.start(), np.zeros(4)])
        run = solve_ivp(
            slope, (0.0, 1.0), begin.ravel(), method="DOP853", rtol=1e-12, atol=1e-13, dense_output=True
        )
        end = run.y[:, -1].reshape(4, 3)
        rows = self.tip_rows(np.zeros(()))
        wanted = np.array([tip_force * L**2 / EI, 0.0])
        share = np.linalg.solve(rows @ end[:, :2], wanted - rows @ end[:, 2])
        states = run.sol(np.asarray(stations, dtype=float)).reshape(4, 3, -1)
        result = np.einsum("ijs,j->is", states, np.append(share, 1.0))
        return result * np.array([L, 1.0, EI / L, EI / L**2])[:, None]


PAIRS = np.array([(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)])


def minors(columns) -> np.ndarray:
    """The six 2 x 2 minors of two columns, shape (..., 4, 2) to (..., 6)."""
    i, j = PAIRS.T
    return columns[..., i, 0] * columns[..., j, 1] - columns[..., j, 0] * columns[..., i, 1]


def compound(matrix) -> np.ndarray:
    """Matrix by which the minors of two solutions of z' = A z change, shape (..., 6, 6)."""
    same = np.eye(4)
    (i, j), (k, m) = (part[:, None] for part in PAIRS.T), PAIRS.T
    return (
        matrix[..., i, k] * same[j, m]
        - matrix[..., i, m] * same[j, k]
        + matrix[..., j, m] * same[i, k]
        - matrix[..., j, k] * same[i, m]
    )


def zeros(function, grid, count: int) -> np.ndarray:
    """The first sign changes of a function over a grid, to about 1e-12 of their value.

    All brackets are cut into 32 at once, which needs few calls of a function that takes an array.
    """
    grid = np.asarray(grid, dtype=float)
    values = function(grid)
    places = np.nonzero(values[:-1] * values[1:] <= 0)[0][:count]
    if len(places) < count:
        raise ValueError(f"only {len(places)} of {count} roots lie in the grid")
    low, high = grid[places], grid[places + 1]
    for _ in range(4):
        parts = low[:, None] + (high - low)[:, None] * np.linspace(0, 1, 33)
        values = function(parts.ravel()).reshape(parts.shape)
        turn = np.argmax(values[:, :-1] * values[:, 1:] <= 0, axis=1)[:, None]
        low, high = (np.take_along_axis(parts, turn + side, 1)[:, 0] for side in (0, 1))
        below, above = (np.take_along_axis(values, turn + side, 1)[:, 0] for side in (0, 1))
    return low - below * (high - low) / (above - below)


def rod_frequencies(
    *, stiffness: float, inertia_per_length: float, free_length: float, tip: float, root: float, count: int
) -> np.ndarray:
    """Twist (GJ, rho Ip, J, k) or stretch (EA, rho A, m, infinite) of a rod with a prop at its tip [rad/s].

    With b = omega L/c: phi = phi_0 cos(b x/L) + T_0 L/(S b) sin(b x/L), T_0 = k phi_0, T(L) = omega^2 J
    phi(L).
    """
    speed = np.sqrt(stiffness / inertia_per_length)
    ratio = tip / (inertia_per_length * free_length)
    give = stiffness / (root * free_length)

    def determinant(b):
        angle = give * np.cos(b) + np.sin(b) / b
        torque = -give * b * np.sin(b) + np.cos(b)
        return torque - b**2 * ratio * angle

    grid = np.concatenate([np.geomspace(1e-5, 0.05, 60), np.arange(0.06, np.pi * (count + 1), 0.05)])
    return zeros(determinant, grid, count) * speed / free_length
