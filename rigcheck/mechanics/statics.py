"""The settled state: displacement, section forces and reactions of a frame under a steady load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import definite, inverse_factor, told_if_too_far_apart, uncoupled
from rigcheck.mechanics.frame import Element, Frame

__all__ = ["SectionForces", "Settled", "centre_lines", "element_forces", "section_forces", "settle"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SectionForces:
    """Section forces along one element, at s stations.

    Attributes
    ----------
    values : array, shape (B, 6 s) or (B, 6 s, k)
        All of them, in the order of the properties: what is done to all is done once.
    """

    values: Array

    @classmethod
    def of(
        cls, *, axial: Array, torque: Array, moment_y: Array, moment_z: Array, shear_y: Array, shear_z: Array
    ) -> SectionForces:
        """From each of them, (B, s) or (B, s, k)."""
        return cls(values=np.concatenate([axial, torque, moment_y, moment_z, shear_y, shear_z], axis=1))

    def pulled(self, pull: Array) -> SectionForces:
        """The same with more tension [N], (B,)."""
        values = self.values.copy()
        values[:, : values.shape[1] // 6] += pull[:, None]
        return SectionForces(values=values)

    def _part(self, place: int) -> Array:
        count = self.values.shape[1] // 6
        return self.values[:, place * count : (place + 1) * count]

    @property
    def axial(self) -> Array:
        """Tension [N], (B, s) or (B, s, k)."""
        return self._part(0)

    @property
    def torque(self) -> Array:
        """About the axis [N m]."""
        return self._part(1)

    @property
    def moment_y(self) -> Array:
        """Bending about local y [N m]."""
        return self._part(2)

    @property
    def moment_z(self) -> Array:
        """Bending about local z [N m]."""
        return self._part(3)

    @property
    def shear_y(self) -> Array:
        """Along local y [N]; from the shear strain, or from the slope of the moment without one."""
        return self._part(4)

    @property
    def shear_z(self) -> Array:
        """Along local z [N]."""
        return self._part(5)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Settled:
    """A frame at rest under a steady load.

    Attributes
    ----------
    state : array, shape (B, n)
        Frame freedoms.
    stiffness : array, shape (B, n, n)
        Elastic plus tension stiffness, of which `state` is the solution and about which modes are taken.
    buckling_factor : array, shape (B,)
        How many times the load could be before the frame buckles; infinite where nothing is compressed.
    stable : array of bool, shape (B,)
        False where the load is past buckling: `state` is then not a solution and must not be used.
    root_force, root_moment : list of array, shape (B, 3)
        What each root puts on its support [N], [N m]; forces with tension pulled into the line before.
    tip_force : list of array, shape (B, 3)
        What the prop puts on each support's tip [N].
    tension : list of array, shape (B, 2)
        At the start and end of each element [N].
    """

    state: Array
    stiffness: Array
    buckling_factor: Array
    stable: NDArray[np.bool_]
    root_force: list[Array]
    root_moment: list[Array]
    tip_force: list[Array]
    tension: list[Array]


def section_forces(frame: Frame, state: Array, stations: Array) -> list[SectionForces]:
    """Section forces in every element.

    Parameters
    ----------
    frame : Frame
        The frame.
    state : array, shape (B, n) or (B, n, k)
        Frame freedoms: a settled state, or k mode shapes.
    stations : array, shape (s,)
        Places along each element, 0 at its start and 1 at its end.

    Returns
    -------
    list of SectionForces
        One for each of ``frame.elements``.

    Notes
    -----
    ``N = EA u'``, ``T = GJ r'``, ``M_z = EI_z v_b''``, ``M_y = -EI_y w_b''``, ``V_y = kGA s'``; without
    shear deformation ``V_y = -M_z'`` and ``V_z = M_y'``. The axial force is what the state brings; tension
    pulled into a line before is not in it.
    """
    return [
        element_forces(element, frame.element_vector(element, state), stations) for element in frame.elements
    ]


def element_forces(element: Element, vector: Array, stations: Array) -> SectionForces:
    """Section forces in one element; see `section_forces`.

    Parameters
    ----------
    element : Element
        One of a frame's.
    vector : array, shape (B, size) or (B, size, k)
        Its own vector, as from `Frame.element_vector`.
    stations : array, shape (s,)
        Places along it, 0 at its start and 1 at its end.

    Returns
    -------
    SectionForces
        Of shape (B, s) or (B, s, k).
    """
    many = vector if vector.ndim == 3 else vector[..., None]
    length = element.length[:, None]
    ea, gj, eiz, eiy, gay, gaz = element.coefficients.T[:, :, None]
    shear = (gay / length, gaz / length)
    if element.basis.order.shear is None:
        shear = (eiz / length**3, eiy / length**3)
    scales = np.concatenate(
        [ea / length, gj / length**2, eiy / length**2, eiz / length**2, *shear],
        axis=1,
    )
    found = element.basis.force_rows(stations) @ many
    found *= np.repeat(scales, len(stations), axis=1)[:, :, None]
    return SectionForces(values=found if vector.ndim == 3 else found[..., 0])


def centre_lines(frame: Frame, state: Array, stations: Array) -> list[Array]:
    """Displacement of every support's centre line, for drawing.

    Parameters
    ----------
    frame : Frame
        The frame.
    state : array, shape (B, n)
        Frame freedoms.
    stations : array, shape (s,)
        Places along each straight piece, 0 at its start and 1 at its end.

    Returns
    -------
    list of array, shape (B, pieces times s, 3)
        [m], right, up, toward, from root to tip; one for each support.

    Notes
    -----
    The element's own fields u, v, w, turned from its axes into those of the frame. Small displacements.
    """
    rows = frame.basis.fields(stations).displacement
    lines: list[list[Array]] = [[] for _ in frame.supports]
    for element in frame.elements:
        own = np.einsum("sif,bf->bsi", rows, frame.element_vector(element, state))
        lines[element.support].append(own @ element.axes)
    return [np.concatenate(pieces, axis=1) for pieces in lines]


def settle(frame: Frame, load: Array, *, load_stiffens: bool = True) -> Settled:
    """Solve for the settled state, with the tension that the load itself brings.

    Parameters
    ----------
    frame : Frame
        The frame.
    load : array, shape (B, n)
        Generalised forces, as from `Frame.inertial_load`.
    load_stiffens : bool
        Whether tension stiffens and compression softens; False gives first-order theory.

    Returns
    -------
    Settled

    Raises
    ------
    ValidityError
        The stiffest and the softest part are so far apart that rounding leaves nothing of the latter.

    Notes
    -----
    First ``K q = f`` gives the tensions, then ``(K + K_G) q = f``. The buckling factor is the smallest
    positive L with ``det(K + L K_G) = 0``. Valid while displacements stay a small share of the free length.
    """
    base = frame.stiffness
    pulled, tip_pulls = _pretension(frame)
    if any(support.tension is not None for support in frame.supports):
        base = base + frame.tension_stiffness(pulled, tip_pulls)
    first = np.asarray(np.linalg.solve(base, load[..., None])[..., 0], dtype=np.float64)
    forces = _ends(frame, first, pulled)
    if not load_stiffens:
        never = np.full(frame.batch, np.inf)
        return _settled(frame, first, base, never, pulled, pulled)
    tips = [tip - pull for tip, pull in zip(_tip_forces(frame, forces), tip_pulls, strict=True)]
    brought = [force.tension - pull for force, pull in zip(forces, pulled, strict=True)]
    added = frame.tension_stiffness(brought, tips)
    if not _matters(base, added).any():
        return _settled(frame, first, base, np.full(frame.batch, np.inf), pulled, pulled)
    factor = _buckling_factor(base, added)
    stable = factor > 1
    total = base + np.where(stable[:, None, None], added, 0.0)
    state = np.asarray(np.linalg.solve(total, load[..., None])[..., 0], dtype=np.float64)
    acting = [pull + np.where(stable[:, None], part, 0.0) for pull, part in zip(pulled, brought, strict=True)]
    return _settled(frame, state, total, factor, pulled, acting)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Ends:
    tension: Array  # (B, 2)
    start: Array  # (B, 6) force and moment of the start node on the element, in frame axes
    stop: Array  # (B, 6)


def _ends(frame: Frame, state: Array, pulled: list[Array], acting: list[Array] | None = None) -> list[_Ends]:
    """Forces at both ends of every element, in fixed axes.

    `pulled` is the tension that was there before the load, to be added to what the state brings; `acting` is
    the tension that the stiffness of the state holds. A tension N in an element that has turned by its slope
    v' pulls across its first direction with N v'.
    """
    stations = np.array([0.0, 1.0])
    fields = frame.basis.fields(stations)
    results = []
    at_ends = section_forces(frame, state, stations)
    for element, forces, before, pull in zip(frame.elements, at_ends, pulled, acting or pulled, strict=True):
        vector = frame.element_vector(element, state)
        length = element.length[:, None]
        across_y = forces.shear_y + pull * (vector @ fields.slope_v.T) / length
        across_z = forces.shear_z + pull * (vector @ fields.slope_w.T) / length
        axial = forces.axial + before
        local = [
            np.stack([value[:, index] for value in group], axis=1)
            for index in (0, 1)
            for group in ((axial, across_y, across_z), (forces.torque, forces.moment_y, forces.moment_z))
        ]
        force0, moment0, force1, moment1 = (np.einsum("bji,bj->bi", element.axes, part) for part in local)
        results.append(
            _Ends(
                tension=axial,
                start=np.concatenate([-force0, -moment0], axis=1),
                stop=np.concatenate([force1, moment1], axis=1),
            )
        )
    return results


def _tip_forces(frame: Frame, forces: list[_Ends]) -> list[Array]:
    last = {element.support: force for element, force in zip(frame.elements, forces, strict=True)}
    return [last[index].stop[:, :3] for index in range(len(frame.supports))]


def _pretension(frame: Frame) -> tuple[list[Array], list[Array]]:
    zero = np.zeros(frame.batch)
    pulls = [support.tension if support.tension is not None else zero for support in frame.supports]
    last = {element.support: element for element in frame.elements}
    tensions = [np.stack([pulls[element.support]] * 2, axis=1) for element in frame.elements]
    tips = [pulls[index][:, None] * last[index].axes[:, 0] for index in range(len(frame.supports))]
    return tensions, tips


def _matters(base: Array, added: Array) -> NDArray[np.bool_]:
    """Where the added stiffness is more than rounding beside the base, shape (B,)."""
    size = np.sqrt(np.einsum("bii->bi", base))
    return np.asarray(np.any(np.abs(added) > 1e-15 * size[:, :, None] * size[:, None, :], axis=(1, 2)))


def _buckling_factor(base: Array, added: Array) -> Array:
    """Smallest positive L with det(base + L added) = 0; infinite where no such L is, or above 1e9."""
    # Rounding leaves about 1e-12 where nothing is compressed.
    tiny = 1e-9
    factor = np.full(len(base), np.inf)
    # The ordinary case, nothing compressed, needs no eigenvalues.
    pressed = np.flatnonzero(~definite(tiny * base + added))
    if not len(pressed):
        return factor
    if len(pressed) < len(base):
        base, added = base[pressed], added[pressed]
    least = np.zeros(len(pressed))
    groups = uncoupled(base, added)
    for group in groups:
        block = (slice(None),) if len(groups) == 1 else np.ix_(np.arange(len(pressed)), group, group)
        with told_if_too_far_apart("no buckling load"):
            lower = inverse_factor(base[block])
        turned = lower @ added[block] @ np.swapaxes(lower, 1, 2)
        least = np.minimum(least, np.linalg.eigvalsh(turned)[:, 0])
    factor[pressed] = np.where(least < -tiny, -1.0 / np.where(least < -tiny, least, -1.0), np.inf)
    return factor


def _settled(
    frame: Frame, state: Array, stiffness: Array, factor: Array, pulled: list[Array], acting: list[Array]
) -> Settled:
    forces = _ends(frame, state, pulled, acting)
    first: dict[int, _Ends] = {}
    for element, force in zip(frame.elements, forces, strict=True):
        first.setdefault(element.support, force)
    count = len(frame.supports)
    return Settled(
        state=state,
        stiffness=stiffness,
        buckling_factor=factor,
        stable=factor > 1,
        root_force=[first[index].start[:, :3] for index in range(count)],
        root_moment=[first[index].start[:, 3:] for index in range(count)],
        tip_force=_tip_forces(frame, forces),
        tension=[force.tension for force in forces],
    )
