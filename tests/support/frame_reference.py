"""A second frame solver, written apart from the engine: many small 12-freedom elements instead of few of high
order.

Element: the Timoshenko beam whose shape functions solve the unloaded static equations, as in
J. S. Przemieniecki, Theory of Matrix Structural Analysis (1968), chapters 5 and 11 (from memory; here the
matrices are integrated from the shape functions, so no printed entry is taken over). Nodes carry three
displacements and three rotations in frame axes. Elements meet the prop by a rigid arm. Frequencies converge
with the fourth power of the element length in bending and the second in stretch and twist, whose fields are
linear; end forces and displacements under end loads are exact.

It takes the engine's `Support` and `Prop` (batch length 1) as plain data and none of its functions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh

NODES, WEIGHTS = np.polynomial.legendre.leggauss(6)
PLACES, WEIGHTS = (NODES + 1) / 2, WEIGHTS / 2
# Freedoms of one bending plane: displacement and slope at both ends; the slope of w is minus the rotation
# about y.
PLANES = (((1, 5, 7, 11), np.array([1.0, 1.0, 1.0, 1.0])), ((2, 4, 8, 10), np.array([1.0, -1.0, 1.0, -1.0])))


def plane_rows(length: float, flexural: float, shear: float, places=PLACES):
    """Rows w, w', theta, theta', gamma over (w1, slope1, w2, slope2) at places x/L.

    w is a cubic with coefficients c; M' + V = 0 gives gamma = -(EI/kGA) w''', theta = w' - gamma.
    """
    x = np.asarray(places) * length
    soft = flexural / shear if np.isfinite(shear) else 0.0
    one, nil = np.ones_like(x), np.zeros_like(x)
    w = np.stack([one, x, x**2, x**3], axis=1)
    dw = np.stack([nil, one, 2 * x, 3 * x**2], axis=1)
    ddw = np.stack([nil, nil, 2 * one, 6 * x], axis=1)
    gamma = np.stack([nil, nil, nil, -6 * soft * one], axis=1)
    ends = np.array(
        [
            [1, 0, 0, 0],
            [0, 1, 0, 6 * soft],
            [1, length, length**2, length**3],
            [0, 1, 2 * length, 3 * length**2 + 6 * soft],
        ]
    )
    back = np.linalg.inv(ends)
    return w @ back, dw @ back, (dw - gamma) @ back, ddw @ back, gamma @ back


@dataclass
class Piece:
    """One small element in place."""

    support: int
    segment: int
    nodes: tuple[int, int]
    ends: np.ndarray
    axes: np.ndarray
    stiffness: np.ndarray
    mass: np.ndarray
    tension: np.ndarray
    rows: np.ndarray
    """Displacement in frame axes at the quadrature places from the 12 end freedoms, shape (places, 3, 12)."""


class ReferenceFrame:
    """Matrices of one frame in reduced freedoms: the prop's six first, all else after."""

    def __init__(self, supports, prop, *, pieces: int = 16, shear: bool = True) -> None:
        self.supports, self.prop, self.shear = supports, prop, shear
        self.centre = prop.centre_of_mass[0]
        self.pieces: list[Piece] = []
        self.springs: list[tuple[np.ndarray, np.ndarray]] = []
        self.rows: list[np.ndarray] = []
        self.columns = 6
        self.first_nodes, self.last_nodes = [], []
        blocks = [self._chain(index, support, pieces) for index, support in enumerate(supports)]
        self.way = np.zeros((6 * sum(len(block) for block in blocks), self.columns))
        row = 0
        for node in (node for block in blocks for node in block):
            for columns, values in node:
                self.way[row : row + 6, columns] += values
            row += 6
        self.stiffness = self._gather([piece.stiffness for piece in self.pieces])
        for columns, values in self.springs:
            self.stiffness[np.ix_(columns, columns)] += values
        self.mass = self._gather([piece.mass for piece in self.pieces])
        self.mass[:3, :3] += prop.mass[0] * np.eye(3)
        self.mass[3:6, 3:6] += prop.inertia[0]

    def _new(self, count: int) -> list[int]:
        self.columns += count
        return list(range(self.columns - count, self.columns))

    def _chain(self, index, support, pieces):
        """Rows of the reduction for each node: pairs of columns and values."""
        points = support.points[0]
        nodes = [self._root(support)]
        self.first_nodes.append(len(self.rows))
        base = sum(self.counts) if hasattr(self, "counts") else 0
        self.counts = [*getattr(self, "counts", []), pieces * support.segments + 1]
        self.first_nodes[-1] = base
        self.last_nodes.append(base + self.counts[-1] - 1)
        for segment in range(support.segments):
            a, b = points[segment], points[segment + 1]
            length = np.linalg.norm(b - a)
            axes = self._axes((b - a) / length, support, segment)
            for piece in range(pieces):
                node = base + segment * pieces + piece
                ends = np.array([a + (b - a) * k / pieces for k in (piece, piece + 1)])
                self.pieces.append(self._piece(index, segment, (node, node + 1), ends, axes, support))
                last = segment == support.segments - 1 and piece == pieces - 1
                nodes.append(self._tip(support) if last else [(self._new(6), np.eye(6))])
        return nodes

    def _root(self, support):
        axes = np.eye(3) if support.root_axes is None else support.root_axes[0]
        node = []
        for axis, stiffness in zip(axes, support.root_stiffness[0], strict=True):
            if np.isfinite(stiffness):
                column = self._new(1)
                node.append((column, np.concatenate([np.zeros(3), axis])[:, None]))
                self.springs.append((np.array(column), np.array([[stiffness]])))
        return node

    def _tip(self, support):
        x, y, z = support.points[0, -1] - self.centre
        # A small turn (p, q, r) of the prop moves the tip by turn x arm.
        arm = np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])
        move = np.zeros((6, 6))
        move[:3, :3], move[:3, 3:] = np.eye(3), arm
        if support.joint_stiffness is None:
            move[3:, 3:] = np.eye(3)
            return [(list(range(6)), move)]
        own = self._new(3)
        spring = np.diag(support.joint_stiffness[0])
        self.springs.append((np.array([3, 4, 5, *own]), np.block([[spring, -spring], [-spring, spring]])))
        return [(list(range(6)), move), (own, np.vstack([np.zeros((3, 3)), np.eye(3)]))]

    @staticmethod
    def _axes(along, support, segment):
        if support.width_direction is not None:
            wide = support.width_direction[0, segment]
        else:
            wide = np.array([0.3, -0.5, 0.8])  # round sections only: any direction will do
        z = np.cross(along, wide)
        z /= np.linalg.norm(z)
        return np.array([along, np.cross(z, along), z])

    def _piece(self, index, segment, nodes, ends, axes, support):
        def of(name):
            return float(getattr(support, name)[0, segment])

        length = float(np.linalg.norm(ends[1] - ends[0]))
        stiff, mass, tense = (np.zeros((12, 12)) for _ in range(3))
        rows = np.zeros((len(PLACES), 3, 12))
        line = np.array([[1.0, -1.0], [-1.0, 1.0]]) / length
        heavy = np.array([[2.0, 1.0], [1.0, 2.0]]) * length / 6
        for pair, stiffness, inertia in (
            ((0, 6), of("axial_stiffness"), of("mass_per_length")),
            ((3, 9), of("torsional_stiffness"), of("polar_inertia")),
        ):
            stiff[np.ix_(pair, pair)] = stiffness * line
            mass[np.ix_(pair, pair)] = inertia * heavy
        rows[:, 0, 0], rows[:, 0, 6] = 1 - PLACES, PLACES
        for plane, (columns, signs), bending, shear, rotary in (
            (1, PLANES[0], "bending_stiffness_z", "shear_stiffness_y", "rotary_inertia_z"),
            (2, PLANES[1], "bending_stiffness_y", "shear_stiffness_z", "rotary_inertia_y"),
        ):
            across = of(shear) if self.shear else np.inf
            w, dw, theta, curve, gamma = (
                part * signs for part in plane_rows(length, of(bending), across, PLACES)
            )
            place = np.ix_(columns, columns)
            weight = (WEIGHTS * length)[:, None]
            stiff[place] = of(bending) * (curve * weight).T @ curve
            if self.shear:
                stiff[place] += across * (gamma * weight).T @ gamma
                mass[place] = of(rotary) * (theta * weight).T @ theta
            mass[place] += of("mass_per_length") * (w * weight).T @ w
            tense[place] = (dw * weight).T @ dw
            rows[:, plane, columns] = w
        turn = np.kron(np.eye(4), axes)
        return Piece(
            support=index,
            segment=segment,
            nodes=nodes,
            ends=ends,
            axes=axes,
            stiffness=turn.T @ stiff @ turn,
            mass=turn.T @ mass @ turn,
            tension=turn.T @ tense @ turn,
            rows=np.einsum("ji,sjk,kl->sil", axes, rows, turn),
        )

    def _gather(self, matrices):
        whole = np.zeros((self.columns, self.columns))
        for piece, matrix in zip(self.pieces, matrices, strict=True):
            way = self.piece_way(piece)
            used = np.nonzero(np.any(way, axis=0))[0]
            whole[np.ix_(used, used)] += way[:, used].T @ matrix @ way[:, used]
        return whole

    def piece_way(self, piece):
        """The piece's 12 end freedoms from the reduced freedoms."""
        first, second = piece.nodes
        return np.vstack([self.way[6 * first : 6 * first + 6], self.way[6 * second : 6 * second + 6]])

    def load(self, field):
        """Reduced load of a field of acceleration: a function of places (n, 3). Point couples of sections
        left out."""
        whole = np.zeros(self.columns)
        self.piece_loads = []
        for piece in self.pieces:
            support = self.supports[piece.support]
            spots = piece.ends[0] + PLACES[:, None] * (piece.ends[1] - piece.ends[0])
            length = np.linalg.norm(piece.ends[1] - piece.ends[0])
            per_length = support.mass_per_length[0, piece.segment] * WEIGHTS * length
            own = np.einsum("s,sij,si->j", per_length, piece.rows, field(spots))
            self.piece_loads.append(own)
            whole += self.piece_way(piece).T @ own
        return whole + self.prop_load(field)

    def prop_load(self, field):
        """The field on the prop as on six point masses with the prop's mass, centre and inertia."""
        mass, inertia = self.prop.mass[0], self.prop.inertia[0]
        whole = np.zeros(self.columns)
        planar = np.trace(inertia) / 2 * np.eye(3) - inertia
        values, vectors = np.linalg.eigh(planar)
        for value, vector in zip(values, vectors.T, strict=True):
            for side in (-1, 1):
                # mass/6 at +-s along a principal axis gives the planar moment 2 (m/6) s^2.
                arm = side * np.sqrt(max(value, 0.0) * 3 / mass) * vector
                push = mass / 6 * field((self.centre + arm)[None])[0]
                whole[:3] += push
                whole[3:6] += np.cross(arm, push)
        return whole

    def solve(self, load):
        """Linear static solution."""
        return np.linalg.solve(self.stiffness, load)

    def end_forces(self, state):
        """Force and moment on both ends of every piece, local axes, shape (pieces, 12); call `load`
        before."""
        result = []
        for piece, own in zip(self.pieces, self.piece_loads, strict=True):
            force = piece.stiffness @ (self.piece_way(piece) @ state) - own
            result.append(np.kron(np.eye(4), piece.axes) @ force)
        return np.array(result)

    def tension_stiffness(self, state):
        """Stiffness by the pieces' tension, and by the tips' turning with the prop; call `load` before."""
        forces = self.end_forces(state)
        means = (forces[:, 6] - forces[:, 0]) / 2
        whole = self._gather([mean * piece.tension for mean, piece in zip(means, self.pieces, strict=True)])
        for index, support in enumerate(self.supports):
            last = [k for k, piece in enumerate(self.pieces) if piece.support == index][-1]
            push = self.pieces[last].axes.T @ forces[last, 6:9]
            whole[3:6, 3:6] += turning_stiffness(push, support.points[0, -1] - self.centre)
        return whole

    def angular_frequencies(self, count: int, stiffness=None):
        """The lowest natural angular frequencies [rad/s], from the inverse problem M x = omega^-2 K x."""
        size = self.columns
        stiffness = self.stiffness if stiffness is None else stiffness
        values = eigh(self.mass, stiffness, eigvals_only=True, subset_by_index=[size - count, size - 1])
        return 1 / np.sqrt(values[::-1])

    def buckling_factor(self, added):
        """Smallest positive L with det(K + L K_G) = 0."""
        values = eigh(added, self.stiffness, eigvals_only=True, subset_by_index=[0, 0])
        return -1 / values[0]


def turning_stiffness(push, arm):
    """Hessian of push . R(turn) arm at no turn, by second differences of the rotation itself."""
    from scipy.spatial.transform import Rotation

    step = 1e-3  # truncation step^2/12 of the value, rounding 1e-16/step^2

    def work(turn):
        return push @ Rotation.from_rotvec(turn).apply(arm)

    result = np.zeros((3, 3))
    for i in range(3):
        for j in range(3):
            a, b = np.eye(3)[i] * step, np.eye(3)[j] * step
            result[i, j] = (work(a + b) - work(a - b) - work(b - a) + work(-a - b)) / (4 * step**2)
    return result
