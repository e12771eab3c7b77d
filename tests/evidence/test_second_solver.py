"""The engine against solvers that share nothing with it.

Straight supports: scikit-fem with cubic Hermite elements (slender theory), static, natural frequencies, and
geometric stiffness. Frames in space, with corners, sleeves, two supports, springs in turned axes and an
eccentric prop with a full inertia tensor: `frame_reference`, small elements of another formulation. Goal 1e-3
for the first six modes.
"""

import numpy as np
import pytest
from frame_reference import ReferenceFrame
from rig_builders import GRAVITY, make_prop, make_support, round_line, straight, strip_line
from scipy.linalg import eigh
from scipy.spatial.transform import Rotation
from skfem import Basis, BilinearForm, ElementLineHermite, LinearForm, MeshLine, asm
from skfem.helpers import d, dd

from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Frame
from rigcheck.mechanics.modes import natural_modes
from rigcheck.mechanics.statics import section_forces, settle

pytestmark = pytest.mark.evidence(
    what="Statics, frequencies and buckling of straight, bent, sleeved and several supports",
    source="scikit-fem; a second frame solver of another formulation",
    serves="check",
)

TILT = Rotation.from_rotvec([0.5, -0.3, 0.8]).as_matrix()
SPIN = Rotation.from_rotvec([-0.9, 1.3, 0.4]).as_matrix()
FIELD = np.array([0.3, -GRAVITY, 1.0])


# -- scikit-fem -------------------------------------------------------------------------------------------


class HermiteLine:
    """A slender cantilever by scikit-fem: matrices without the root's two freedoms, and the tip's two
    freedoms."""

    def __init__(self, line, length, elements=40):
        basis = Basis(MeshLine(np.linspace(0, length, elements + 1)), ElementLineHermite(), intorder=6)
        root, tip = basis.nodal_dofs[:, 0], basis.nodal_dofs[:, -1]
        self.keep = np.setdiff1d(np.arange(basis.N), root)
        self.tip = [int(np.nonzero(self.keep == place)[0][0]) for place in tip]

        def kept(form):
            return asm(form, basis).toarray()[np.ix_(self.keep, self.keep)]

        self.bending = kept(
            BilinearForm(lambda u, v, w: line.bending_stiffness_z * dd(u)[0, 0] * dd(v)[0, 0])
        )
        self.mass = kept(BilinearForm(lambda u, v, w: line.mass_per_length * u * v))
        self.slope = kept(BilinearForm(lambda u, v, w: d(u)[0] * d(v)[0]))
        self.weighted = kept(BilinearForm(lambda u, v, w: (length - w.x[0]) * d(u)[0] * d(v)[0]))
        self.load = asm(LinearForm(lambda v, w: line.mass_per_length * v), basis)[self.keep]

    def add_prop(self, mass, reach, inertia):
        w, t = self.tip
        self.mass[w, w] += mass
        self.mass[w, t] += mass * reach
        self.mass[t, w] += mass * reach
        self.mass[t, t] += inertia + mass * reach**2

    def lowest_four(self, stiffness):
        # The inverse problem M x = omega^-2 K x gives the lowest to more digits.
        return 1 / np.sqrt(eigh(self.mass, stiffness, eigvals_only=True)[:-5:-1])


PROPS = [(0.05, 0.0, 0.0), (0.3, 0.03, 2e-4), (2.0, 0.1, 5e-3)]


@pytest.mark.parametrize(("mass", "reach", "inertia"), PROPS)
def test_slender_cantilever_by_scikit_fem(mass, reach, inertia):
    line, L = round_line(3e-3), 0.25
    other = HermiteLine(line, L)
    other.add_prop(mass, reach, inertia)
    w, t = other.tip
    load = other.load * GRAVITY
    load[w] += mass * GRAVITY
    load[t] += mass * GRAVITY * reach
    movement = np.linalg.solve(other.bending, load)
    support, prop = straight(line, L, mass=mass, reach=reach, inertia=[inertia] * 3)
    frame = Frame([support], prop, Order(shear=None))
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]), load_stiffens=False)
    # Cubic elements are exact at their nodes for these loads; solving 80 equations leaves 1e-9.
    assert -settled.state[0, 1] == pytest.approx(movement[w] + reach * movement[t], rel=1e-7)
    assert -settled.state[0, 5] == pytest.approx(movement[t], rel=1e-7)
    omega = other.lowest_four(other.bending)
    found = natural_modes(frame, frame.stiffness).angular_frequency[0]
    for value in omega:
        # 40 cubic elements leave 1e-6 at the fourth, 80 leave 6e-8: the fourth power of their length.
        assert np.sum(np.abs(found / value - 1) < 3e-6) >= 2


@pytest.mark.parametrize("up", [False, True], ids=["hanging", "standing"])
def test_vertical_wire_by_scikit_fem(up):
    """Geometric stiffness with a tension that varies along the wire, and the prop's weight beyond the tip."""
    line, L, mass, reach, inertia = round_line(2e-3), 0.3, 0.2, 0.02, 1e-4
    sign = -1 if up else 1
    other = HermiteLine(line, L)
    other.add_prop(mass, reach, inertia)
    added = sign * GRAVITY * (mass * other.slope + line.mass_per_length * other.weighted)
    added[other.tip[1], other.tip[1]] += sign * mass * GRAVITY * reach
    omega = other.lowest_four(other.bending + added)
    support, prop = straight(line, L, mass=mass, reach=reach, inertia=[inertia] * 3, along=(0, -sign, 0))
    frame = Frame([support], prop, Order(shear=None))
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]))
    found = natural_modes(frame, settled.stiffness).angular_frequency[0]
    for value in omega:
        assert np.sum(np.abs(found / value - 1) < 3e-6) == 2
    if up:
        factor = 1 / eigh(-added, other.bending, eigvals_only=True)[-1]
        assert settled.buckling_factor[0] == pytest.approx(factor, rel=1e-6)
    else:
        assert settled.buckling_factor[0] == np.inf


# -- frames in space --------------------------------------------------------------------------------------

WIRE = round_line(2e-3)
SLEEVE = round_line(3e-3, bore=2e-3, youngs_modulus=105e9, shear_modulus=39e9, density=8500)
STRIP = strip_line(12e-3, 2e-3)
HEAVY = SPIN @ np.diag([2.7e-4, 3.8e-4, 5.1e-4]) @ SPIN.T
PROP = make_prop(0.3, [0.01, 0.05, 0.02], HEAVY)
SPRINGS = {"root_stiffness": (30.0, 8.0, 20.0), "root_axes": TILT}

RIGS = {
    "corner": ([make_support([[0, 0, -0.2], [0, 0, -0.05], [0.02, 0.04, 0]], WIRE)], PROP),
    "sleeve to half length": (
        [make_support([[0, 0, -0.2], [0, 0, -0.1], [0, 0, 0]], [WIRE.plus(SLEEVE), WIRE], **SPRINGS)],
        PROP,
    ),
    "roll held, bending springs in turned axes": (
        [
            make_support(
                [[0, 0, -0.2], [0.03, 0, -0.1], [0, 0, 0]],
                WIRE,
                root_stiffness=(np.inf, 8, 20),
                root_axes=TILT,
            )
        ],
        PROP,
    ),
    "two, bent, sleeved, one on a joint": (
        [
            make_support(
                [[-0.03, 0.1, -0.2], [-0.03, 0.1, -0.04], [-0.02, 0, 0]], [WIRE.plus(SLEEVE), WIRE], **SPRINGS
            ),
            make_support(
                [[0.04, 0, -0.25], [0.03, 0, -0.04], [0.02, 0.01, 0]], WIRE, joint_stiffness=(3, 5, 9)
            ),
        ],
        PROP,
    ),
    "strip on a joint": (
        [
            make_support(
                [[0, 0, -0.2], [0, 0, -0.05], [0.02, 0.04, 0]],
                STRIP,
                width_direction=[0.3, 1, 0.1],
                joint_stiffness=(30, 5, 9),
            )
        ],
        PROP,
    ),
    "stubby rod": ([make_support([[0, 0, -0.06], [0, 0, -0.03], [0.03, 0, 0]], round_line(10e-3))], PROP),
    "three": (
        [
            make_support([[x, y, -0.2], [x / 2, y / 2, 0]], WIRE)
            for x, y in ((0.1, 0), (-0.05, 0.08), (-0.04, -0.09))
        ],
        PROP,
    ),
}


@pytest.fixture(params=list(RIGS), scope="module")
def rig(request):
    return RIGS[request.param]


@pytest.fixture(params=[True, False], ids=["shear", "slender"], scope="module")
def shear(request):
    return request.param


@pytest.fixture(scope="module")
def both(rig, shear):
    supports, prop = rig
    frame = Frame(supports, prop, Order() if shear else Order(shear=None))
    return frame, ReferenceFrame(supports, prop, pieces=16, shear=shear)


def uniform(spots):
    return np.broadcast_to(FIELD, spots.shape)


def test_settled_prop(both):
    frame, other = both
    settled = settle(frame, frame.inertial_load(FIELD), load_stiffens=False)
    expected = other.solve(other.load(uniform))[:6]
    for part in (slice(0, 3), slice(3, 6)):
        # Both are exact; what is left is rounding in 300 equations, EA against EI/L^2 being 1e6.
        np.testing.assert_allclose(
            settled.state[0, part], expected[part], atol=1e-7 * np.abs(expected[part]).max()
        )


def test_section_forces_at_roots_sleeve_ends_corners_and_tips(both):
    frame, other = both
    settled = settle(frame, frame.inertial_load(FIELD), load_stiffens=False)
    ends = other.end_forces(other.solve(other.load(uniform)))
    forces = section_forces(frame, settled.state, np.array([0.0, 1.0]))
    number = 0
    for index, support in enumerate(frame.supports):
        for segment in range(support.segments):
            element, force = frame.elements[number], forces[number]
            number += 1
            own = [
                k
                for k, piece in enumerate(other.pieces)
                if (piece.support, piece.segment) == (index, segment)
            ]
            axes = other.pieces[own[0]].axes
            for side, expected in ((0, -ends[own[0], :6]), (1, ends[own[-1], 6:])):
                push = np.stack([force.axial, force.shear_y, force.shear_z], axis=1)[0, :, side]
                turn = np.stack([force.torque, force.moment_y, force.moment_z], axis=1)[0, :, side]
                # The two choose their local axes by themselves: compare in fixed ones.
                for found, wanted in ((push, expected[:3]), (turn, expected[3:])):
                    wanted = axes.T @ wanted
                    np.testing.assert_allclose(
                        element.axes[0].T @ found, wanted, atol=1e-6 * max(np.abs(wanted).max(), 1e-6)
                    )


def test_first_six_modes(both):
    frame, other = both
    found = natural_modes(frame, frame.stiffness, 6).angular_frequency[0]
    # 16 elements a segment: doubled from 8 the reference moves by 1.3e-5 at most, so it is within 1e-6
    # itself.
    np.testing.assert_allclose(found, other.angular_frequencies(6), rtol=1e-5)


@pytest.mark.of_the_method
@pytest.mark.parametrize(("name", "rate"), [("corner", 16), ("stubby rod", 4)])
def test_the_reference_converges_at_its_rate(name, rate):
    """Else its figures would be no measure: cubic bending gains 16 by halving the elements, linear twist
    4."""
    supports, prop = RIGS[name]
    coarse, middle, fine = (
        ReferenceFrame(supports, prop, pieces=count).angular_frequencies(6)[3:] for count in (4, 8, 16)
    )
    np.testing.assert_allclose((coarse - middle) / (middle - fine), rate, rtol=0.2)


def test_mode_shapes(both):
    """Movement of the prop in each of the first six modes, by its share of the modal mass."""
    frame, other = both
    shape = natural_modes(frame, frame.stiffness, 6).shape[0, :6]
    values, vectors = eigh(
        other.mass, other.stiffness, subset_by_index=[other.columns - 6, other.columns - 1]
    )
    expected = (vectors / np.sqrt(values))[:6, ::-1]
    # A sign is free in each mode. Neighbouring frequencies are at least 1 % apart, so 1e-6 in the matrices'
    # effect is 1e-4 in the shapes.
    expected = expected * np.sign(np.sum(shape * expected, axis=0))
    for part in (slice(0, 3), slice(3, 6)):
        np.testing.assert_allclose(shape[part], expected[part], atol=3e-4 * np.abs(expected[part]).max())


VERTICAL = {
    "one, prop below its tip": (
        [make_support([[0, 0.3, 0], [0, 0, 0]], WIRE)],
        make_prop(0.3, [0, -0.03, 0], HEAVY),
    ),
    "pair": (
        [make_support([[x, 0.3, 0], [x, 0, 0]], WIRE) for x in (-0.05, 0.05)],
        make_prop(0.3, [0.01, -0.03, 0], HEAVY),
    ),
    "pair, sleeved, springs": (
        [
            make_support([[x, 0.3, 0], [x, 0.2, 0], [x, 0, 0]], [WIRE.plus(SLEEVE), WIRE], **SPRINGS)
            for x in (-0.05, 0.05)
        ],
        make_prop(0.3, [0.0, -0.03, 0], HEAVY),
    ),
}


@pytest.mark.parametrize("name", list(VERTICAL))
def test_hanging_frames_with_gravity_in_the_stiffness(name):
    """Tension along every wire, and tips that turn with the prop; only wires that pull straight up.

    Where a wire pushes across as well, or bends, the terms of moment and twist that the engine leaves out are
    of the same order as what it keeps; that is the place of the large-displacement solver.
    """
    supports, prop = VERTICAL[name]
    frame, other = Frame(supports, prop), ReferenceFrame(supports, prop, pieces=16)
    weight = np.array([0, -GRAVITY, 0])
    settled = settle(frame, frame.inertial_load(weight))
    load = other.load(lambda spots: np.broadcast_to(weight, spots.shape))
    total = other.stiffness + other.tension_stiffness(other.solve(load))
    found = natural_modes(frame, settled.stiffness, 6).angular_frequency[0]
    np.testing.assert_allclose(found, other.angular_frequencies(6, total), rtol=1e-5)
    plain = natural_modes(frame, frame.stiffness, 6).angular_frequency[0]
    assert np.abs(found / plain - 1).max() > 0.1


def test_standing_pair_buckles_where_the_reference_does():
    supports = [make_support([[x, -0.3, 0], [x, 0, 0]], WIRE) for x in (-0.05, 0.05)]
    prop = make_prop(0.3, [0.0, 0.03, 0], HEAVY)
    frame, other = Frame(supports, prop), ReferenceFrame(supports, prop, pieces=16)
    weight = np.array([0, -GRAVITY, 0])
    settled = settle(frame, frame.inertial_load(weight))
    load = other.load(lambda spots: np.broadcast_to(weight, spots.shape))
    expected = other.buckling_factor(other.tension_stiffness(other.solve(load)))
    # The reference takes each piece's tension as constant: 1/16^2 of what it varies by over a wire, 1 %.
    assert settled.buckling_factor[0] == pytest.approx(expected, rel=1e-4)
