"""Few shapes that tell what a frame does to its prop: Lanczos' method in blocks, for many variants at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import uncoupled, upper_inverse_factor

__all__ = ["Arrow", "Inside", "Motion", "few_modes", "motion_of", "reached", "those_that_count"]

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
    inside : list of array, shape (B, i, k + m)
        How each of the insides moves away from its static shape, in its own freedoms: under the fields, and then in
        the modes.
    """

    angular_frequency: Array
    shape: Array
    participation: Array
    follow: Array
    inside: list[Array]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Inside:
    """Freedoms that touch no other inside, measured from the static shape that the nodes give them.

    In coordinates y in which their stiffness is the identity: their own freedoms are ``root y``.

    Attributes
    ----------
    root : array, shape (B, i, i)
        R, with R R^T the inverse of their stiffness.
    side : array, shape (B, n, i)
        Mass between the nodes' freedoms and y.
    inner : array, shape (B, i, i)
        Mass of y.
    push : array, shape (B, i, k)
        Load of each field on y.
    """

    root: Array
    side: Array
    inner: Array
    push: Array


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

    def split(self, count: int) -> tuple[Array, Array, Arrow]:
        """The matrix among its first freedoms, which are nodes, from these to the others, and among the others."""
        return (
            self.nodes[:, :count, :count],
            np.concatenate([self.nodes[:, count:, :count], self.back[:, :, :count]], axis=1),
            replace(
                self,
                nodes=self.nodes[:, count:, count:],
                sides=[side[:, count:] for side in self.sides],
                places=[place - count for place in self.places],
            ),
        )

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
    insides: Sequence[Inside] = (),
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
    insides : sequence of Inside
        More freedoms, whose static shapes are counted in the three arrays: that makes all products small.

    Returns
    -------
    Motion
    """
    factor = upper_inverse_factor(stiffness)
    count = stiffness.shape[1]
    stops = np.cumsum([count, *(one.inner.shape[1] for one in insides)])
    places = [np.arange(start, stop) for start, stop in pairwise(stops)]
    arrow = Arrow(
        nodes=factor @ mass @ _transposed(factor),
        sides=[factor @ one.side for one in insides],
        inner=[one.inner for one in insides],
        roots=[one.root for one in insides],
        places=places,
    )
    omega, participation, states = few_modes(
        arrow,
        factor,
        np.concatenate([factor @ loads, *(one.push for one in insides)], axis=1),
        uncoupled(stiffness, mass),
        prop=prop,
        least_share=least_share,
        steps=steps,
    )
    moved = _transposed(factor) @ states[:, :count]
    fields = loads.shape[2]
    return Motion(
        angular_frequency=omega,
        shape=moved[:, :, fields:],
        participation=participation,
        follow=moved[:, :, :fields],
        inside=[one.root @ states[:, place] for one, place in zip(insides, places, strict=True)],
    )


def few_modes(
    arrow: Arrow,
    factor: Array,
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
    factor : array, shape (B, n, n)
        ``U^-1`` of the nodes' stiffness ``U U^T``, upper triangular; the first nodes' freedoms are the prop's.
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
        count = int(np.sum(group < prop))
        if not count:
            continue
        part, places = arrow.part(group)
        space, reduced = reached(part, count, steps)
        value, mixed = np.linalg.eigh(reduced)
        own = field[:, places]
        values.append(value)
        # The prop's freedoms stand alone in these coordinates, and move the prop alone.
        moved.append(_transposed(mixed[:, :count]) @ factor[:, group[:count], :prop])
        forces.append(
            _transposed(mixed) @ np.concatenate([own[:, :count], _transposed(space) @ own[:, count:]], axis=1)
        )
        spaces.append((places, count, space, mixed))
    value, force = np.concatenate(values, axis=1), np.concatenate(forces, axis=1)
    kept, valid = those_that_count(value, _transposed(np.concatenate(moved, axis=1)), force, least_share)
    omega = 1 / np.sqrt(np.take_along_axis(value, kept, axis=1))
    size = np.where(valid, omega, 0.0)
    rows, fields = np.arange(len(factor))[:, None], field.shape[2]
    # Which of all modes come where, and how large.
    picked = np.zeros((*value.shape, kept.shape[1]))
    picked[rows, kept, np.arange(kept.shape[1])] = size
    states = np.zeros((*field.shape[:2], fields + kept.shape[1]))
    states[:, :, :fields] = field
    start = 0
    for places, count, space, mixed in spaces:
        stop = start + mixed.shape[2]
        shares = mixed @ picked[:, start:stop]
        states[:, places[:count], fields:] = shares[:, :count]
        states[:, places[count:], fields:] = space @ shares[:, count:]
        start = stop
    return omega, np.asarray(force[rows, kept] * size[..., None]), states


def reached(arrow: Arrow, count: int, steps: int, more: Array | None = None) -> tuple[Array, Array]:
    """Orthonormal vectors reached from the first freedoms in some steps, and the matrix among them.

    Parameters
    ----------
    arrow : Arrow
        A symmetric matrix of N freedoms, applied in every step.
    count : int
        How many freedoms, each a vector to start from; they are among its nodes.
    steps : int
        How often the matrix is worked in, at least 1.
    more : array, shape (B, N - count, c), optional
        Vectors among the other freedoms to start from besides.

    Returns
    -------
    tuple of array, shape (B, N - count, k) and (B, count + k, count + k)
        The vectors among the other freedoms; the first ones belong with them as they are. The matrix among them all.
        k is ``c + steps (count + c)``; where that is not less than N - count, the whole space with k = N - count.

    Notes
    -----
    Vectors that start from freedoms leave nothing of these to the others, so that these need not be made orthogonal
    to them. The two first steps are taken before the vectors are made orthonormal, all at once and by reflections,
    which lose nothing to their lengths; what a third step brings is orthogonal to all before and orthonormal in
    itself, twice over ("twice is enough", B. N. Parlett, The Symmetric Eigenvalue Problem, ch. 6, from memory). Where
    a step brings nothing new, rounding fills the place with a vector orthogonal to the others, which does no harm:
    Ritz values in a larger space are no worse.
    """
    first, side, others = arrow.split(count)
    batch, size = side.shape[:2]
    started = [] if more is None else [more]
    width = count + sum(block.shape[2] for block in started)
    total = width * (steps + 1) - count
    if total >= size:
        space = np.broadcast_to(np.eye(size), (batch, size, size))
        moved = others(space)
    else:
        block = np.concatenate([side, *(others(block) for block in started)], axis=2)
        # Two steps at once.
        blocks = [*started, block] if steps == 1 else [*started, block, others(block)]
        space = np.linalg.qr(np.concatenate(blocks, axis=2)).Q
        moved = others(space)
        while space.shape[2] < total:
            block = np.linalg.qr(_beside(space, moved[:, :, -width:])[0]).Q
            block, lay = _beside(space, block)
            if lay > _SKEW:
                # Something in it was rounding, or nothing: reflections fill its place at right angles to all others.
                block = np.linalg.qr(np.concatenate([space, block], axis=2)).Q[:, :, space.shape[2] :]
            space = np.concatenate([space, block], axis=2)
            moved = np.concatenate([moved, others(block)], axis=2)
    reduced = np.empty((batch, count + space.shape[2], count + space.shape[2]))
    reduced[:, :count, :count] = first
    reduced[:, count:, :count] = link = _transposed(space) @ side
    reduced[:, :count, count:] = _transposed(link)
    reduced[:, count:, count:] = _transposed(space) @ moved
    return space, reduced


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
