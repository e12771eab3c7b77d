"""Few shapes that tell what a frame does to its prop: Lanczos' method in blocks, for many variants at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import inverse_factor, uncoupled

__all__ = ["Arrow", "Motion", "few_modes", "motion_of", "pushed", "reached", "those_that_count"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Motion:
    """What fields of acceleration do to a frame of n freedoms: slowly, and mode by mode. k fields, m modes.

    Attributes
    ----------
    angular_frequency : array, shape (B, m)
        In rising order [rad/s]. A variant with fewer modes than others repeats its last frequency.
    shape : array, shape (B, n, m)
        Of each mode, of unit modal mass; zero where a frequency is only repeated.
    participation : array, shape (B, m, k)
        Modal force of each field.
    follow : array, shape (B, n, k)
        What each field does when it is applied slowly.
    """

    angular_frequency: Array
    shape: Array
    participation: Array
    follow: Array


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Arrow:
    """A symmetric matrix that couples nodes with insides, but insides of different fields not with each other.

    Called with vectors (B, N, any), it gives their product with the matrix.

    Attributes
    ----------
    nodes : array, shape (B, n, n)
        Among the nodes.
    sides : list of array, shape (B, n, i)
        Between nodes and the inside of each field.
    inner : list of array, shape (B, i, i)
        Inside each field.
    roots : list of array, shape (B, i, i), or (B, i) where diagonal
        R of each field, with R R^T the inverse stiffness inside.
    places : list of int array
        Of the inside of each field in vectors of the whole.
    """

    nodes: Array
    sides: list[Array]
    inner: list[Array]
    roots: list[Array]
    places: list[Index]

    @property
    def size(self) -> int:
        """Length of its vectors."""
        return int(self.nodes.shape[1]) + sum(int(block.shape[1]) for block in self.inner)

    def part(self, group: Index) -> tuple[Arrow, Index]:
        """The matrix on some nodes' freedoms, which nothing couples to others, and the insides that they move.

        With its places in vectors of the whole.
        """
        kept = [index for index, size in enumerate(self.grip) if size[group].max() > _MOVES * size.max()]
        # Those of one size beside each other, so that their products are one.
        kept.sort(key=lambda index: self.inner[index].shape[1])
        part = Arrow(
            nodes=self.nodes[:, group[:, None], group],
            sides=[self.sides[index][:, group] for index in kept],
            inner=[self.inner[index] for index in kept],
            roots=[self.roots[index] for index in kept],
            places=[self.places[index] for index in kept],
        )
        return part, np.concatenate([group, *part.places])

    @cached_property
    def grip(self) -> list[Array]:
        """The most that each node's freedom moves the inside of each field, over all variants, (n,)."""
        return [np.abs(side).max(axis=0).max(axis=1) for side in self.sides]

    @cached_property
    def side(self) -> Array:
        """All sides as one, (B, n, i)."""
        return np.concatenate([self.nodes[:, :, :0], *self.sides], axis=2)

    @cached_property
    def back(self) -> Array:
        """The same transposed, (B, i, n)."""
        return np.ascontiguousarray(_transposed(self.side))

    @cached_property
    def stacks(self) -> list[Array]:
        """Insides, those of one size that follow each other as one, (B, fields, i, i) each."""
        sizes = [block.shape[1] for block in self.inner]
        starts = [index for index, size in enumerate(sizes) if index == 0 or size != sizes[index - 1]]
        return [np.stack(self.inner[start:stop], axis=1) for start, stop in pairwise([*starts, len(sizes)])]

    def __call__(self, vectors: Array) -> Array:
        """Product with vectors (B, N, any)."""
        batch, count = self.nodes.shape[:2]
        result = np.empty_like(vectors)
        result[:, :count] = self.nodes @ vectors[:, :count] + self.side @ vectors[:, count:]
        result[:, count:] = self.back @ vectors[:, :count]
        start = count
        for stack in self.stacks:
            stop = start + stack.shape[1] * stack.shape[2]
            own = vectors[:, start:stop].reshape(batch, stack.shape[1], stack.shape[2], -1)
            result[:, start:stop] += (stack @ own).reshape(batch, stop - start, -1)
            start = stop
        return result


def motion_of(
    stiffness: Array,
    mass: Array,
    loads: Array,
    *,
    prop: int,
    least_share: float,
    steps: int = 3,
    inside: Sequence[Index] = (),
) -> Motion:
    """Answer of any frame to fields of acceleration, by the modes that move its prop.

    Parameters
    ----------
    stiffness : array, shape (B, n, n)
        Symmetric positive definite.
    mass : array, shape (B, n, n)
        Symmetric, not negative.
    loads : array, shape (B, n, k)
        Of each field.
    prop : int
        How many of the freedoms, which come first, are the prop's: three displacements first.
    least_share, steps
        As in `rigcheck.mechanics.condensed.CondensedFrame.motion`, where the method is described.
    inside : sequence of int array
        Groups of other freedoms that touch no other group: they are measured from their static shapes, which makes
        all products small.

    Returns
    -------
    Motion
    """
    size = stiffness.shape[1]
    kept = np.ones(size, dtype=bool)
    kept[np.concatenate([np.zeros(0, dtype=np.intp), *inside])] = False
    outside = np.flatnonzero(kept)
    block = outside[:, None], outside
    firm, heavy, load = stiffness[:, *block], mass[:, *block], loads[:, outside].copy()
    sides, inner, roots, pushes, shapes, places = [], [], [], [], [], []
    start = len(outside)
    for own in inside:
        across, along = (own[:, None], own), (own[:, None], outside)
        lower = inverse_factor(stiffness[:, *across])
        link, carried, weighty = stiffness[:, *along], mass[:, *along], mass[:, *across]
        shape = -_transposed(lower) @ (lower @ link)
        mixed = carried + weighty @ shape
        firm += _transposed(link) @ shape
        heavy += _transposed(carried) @ shape + _transposed(shape) @ mixed
        load += _transposed(shape) @ loads[:, own]
        sides.append(_transposed(lower @ mixed))
        inner.append(lower @ weighty @ _transposed(lower))
        roots.append(_transposed(lower))
        pushes.append(lower @ loads[:, own])
        shapes.append(shape)
        places.append(np.arange(start, start + len(own)))
        start += len(own)
    lower = inverse_factor(firm)
    arrow = Arrow(
        nodes=lower @ heavy @ _transposed(lower),
        sides=[lower @ side for side in sides],
        inner=inner,
        roots=roots,
        places=places,
    )
    omega, participation, states = few_modes(
        arrow,
        lower,
        np.concatenate([lower @ load, *pushes], axis=1),
        uncoupled(firm, heavy),
        prop=prop,
        least_share=least_share,
        steps=steps,
    )
    result = np.empty((len(stiffness), size, states.shape[2]))
    result[:, outside] = outer = _transposed(lower) @ states[:, : len(outside)]
    for own, shape, root, place in zip(inside, shapes, roots, places, strict=True):
        result[:, own] = shape @ outer + root @ states[:, place]
    count = loads.shape[2]
    return Motion(
        angular_frequency=omega,
        shape=result[:, :, count:],
        participation=participation,
        follow=result[:, :, :count],
    )


def few_modes(
    arrow: Arrow,
    lower: Array,
    field: Array,
    groups: list[Index],
    *,
    prop: int,
    least_share: float,
    steps: int,
) -> tuple[Array, Array, Array]:
    """The modes that move the prop, in coordinates in which the stiffness is the identity.

    Parameters
    ----------
    arrow : Arrow
        The mass.
    lower : array, shape (B, n, n)
        ``L^-1`` of the nodes' stiffness ``L L^T``; the first nodes' freedoms are the prop's.
    field : array, shape (B, N, k)
        Loads of the fields.
    groups : list of int array
        Nodes' freedoms that nothing couples with those of other groups.
    prop, least_share, steps
        As in `motion_of`.

    Returns
    -------
    tuple of array, shape (B, m), (B, m, k) and (B, N, k + m)
        Angular frequencies; participation; what the fields do slowly, and after it the modes of unit modal mass.
    """
    spaces, values, moved, forces = [], [], [], []
    for group in groups:
        columns = group[group < prop]
        if not len(columns):
            continue
        part, places = arrow.part(group)
        space, reduced = reached(part, pushed(lower, group, columns, len(places)), steps)
        value, mixed = np.linalg.eigh(reduced)
        values.append(value)
        shape = _transposed(space @ mixed)
        moved.append(shape[:, :, : len(group)] @ lower[:, group, :prop])
        forces.append(shape @ field[:, places])
        spaces.append((places, shape))
    value, force = np.concatenate(values, axis=1), np.concatenate(forces, axis=1)
    kept, valid = those_that_count(value, _transposed(np.concatenate(moved, axis=1)), force, least_share)
    omega = 1 / np.sqrt(np.take_along_axis(value, kept, axis=1))
    size = np.where(valid, omega, 0.0)
    rows, count = np.arange(len(lower))[:, None], field.shape[2]
    # Which of all modes come where, and how large.
    picked = np.zeros((*value.shape, kept.shape[1]))
    picked[rows, kept, np.arange(kept.shape[1])] = size
    states = np.zeros((*field.shape[:2], count + kept.shape[1]))
    states[:, :, :count] = field
    start = 0
    for places, shape in spaces:
        stop = start + shape.shape[1]
        states[:, places, count:] += _transposed(shape) @ picked[:, start:stop]
        start = stop
    return omega, np.asarray(force[rows, kept] * size[..., None]), states


def pushed(lower: Array, group: Index, freedoms: Index, size: int) -> Array:
    """Static shapes of unit loads on some nodes' freedoms, in the coordinates of `few_modes`.

    Parameters
    ----------
    lower : array, shape (B, n, n)
        As there.
    group, freedoms : int array
        The nodes' freedoms that come first in the result; those that are loaded.
    size : int
        Length of the result's vectors.

    Returns
    -------
    array, shape (B, size, freedoms)
    """
    result = np.zeros((len(lower), size, len(freedoms)))
    result[:, : len(group)] = lower[:, group[:, None], freedoms]
    return result


def reached(operator: Callable[[Array], Array], first: Array, steps: int) -> tuple[Array, Array]:
    """Orthonormal vectors reached from the first ones in some steps, and the operator among them.

    Parameters
    ----------
    operator : callable
        Product of a symmetric matrix with vectors (B, n, any).
    first : array, shape (B, n, c)
        Vectors to start from.
    steps : int
        How often the operator is worked in.

    Returns
    -------
    tuple of array, shape (B, n, k) and (B, k, k)
        k is c (steps + 1); where that is not less than n, the whole space with k = n.

    Notes
    -----
    Each step's vectors are made orthogonal to all before and orthonormal among themselves, twice over ("twice is
    enough", B. N. Parlett, The Symmetric Eigenvalue Problem, ch. 6, from memory). Where a step brings nothing new,
    rounding fills the place with a vector orthogonal to the others, which does no harm: Ritz values in a larger space
    are no worse.
    """
    batch, size, count = first.shape
    total = count * (steps + 1)
    if total >= size:
        every = np.broadcast_to(np.eye(size), (batch, size, size))
        return every, operator(every)
    space, moved = np.empty((batch, size, total)), np.empty((batch, size, total))
    block = np.linalg.qr(first).Q
    for start in range(0, total, count):
        stop = start + count
        space[:, :, start:stop] = block
        moved[:, :, start:stop] = operator(block)
        if stop < total:
            known = space[:, :, :stop]
            block = np.linalg.qr(_beside(known, moved[:, :, start:stop])[0]).Q
            block, lay = _beside(known, block)
            if lay > _SKEW:
                block = np.linalg.qr(block).Q
    return space, _transposed(space) @ moved


def _beside(known: Array, vectors: Array) -> tuple[Array, float]:
    """Vectors less what lies along the known ones, and the most that did."""
    along = _transposed(known) @ vectors
    return vectors - known @ along, float(np.abs(along).max())


_SKEW = 1e-8
"""What unit vectors may have along others to keep their length, to rounding, when that is taken away."""


def those_that_count(value: Array, moved: Array, force: Array, least_share: float) -> tuple[Index, Flags]:
    """Which modes move the prop, rising in frequency, and where a variant has fewer, which are repeated.

    Shapes are of unit stiffness, so that what a mode moves in a steady field is shape times force.
    """
    rank = np.argsort(-value, axis=1, kind="stable")
    share = np.abs(moved[:, :3]).max(axis=1) * np.abs(force).max(axis=2)
    # A mode without mass has omega^-2 = 0 to rounding.
    massive = value > 1e-14 * value.max(axis=1, keepdims=True)
    strong: Flags = massive & (share >= least_share * share.max(axis=1, keepdims=True))
    strong = np.take_along_axis(strong, rank, axis=1)
    strong[:, 0] = True
    counts = strong.sum(axis=1)
    first = np.argsort(~strong, axis=1, kind="stable")[:, : counts.max()]
    place = np.arange(first.shape[1])
    last = np.take_along_axis(first, counts[:, None] - 1, axis=1)
    valid = place < counts[:, None]
    return np.take_along_axis(rank, np.where(valid, first, last), axis=1), valid


def _transposed(matrix: Array) -> Array:
    return np.swapaxes(matrix, 1, 2)


_MOVES = 1e-13
"""Share of the largest coupling below which nodes do not move what is inside a field."""
