"""Few shapes that tell what a frame does to its prop: Lanczos' method in blocks, for many variants at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import solved, uncoupled, upper_inverse_factor

__all__ = [
    "Arrow",
    "Blocks",
    "Inside",
    "Motion",
    "few_modes",
    "least",
    "motion_of",
    "reached",
    "those_that_count",
]

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
    inside : list of array, shape (B, F, i, k + m)
        How each group of the insides moves away from its static shape, in its own freedoms: under the fields, and
        then in the modes.
    """

    angular_frequency: Array
    shape: Array
    participation: Array
    follow: Array
    inside: list[Array]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Inside:
    """Groups of freedoms that touch no other group, measured from the static shape that the nodes give them.

    In coordinates y in which their stiffness is the identity: their own freedoms are ``root y``. F groups of i each.

    Attributes
    ----------
    root : array, shape (B, F, i, i)
        R, with R R^T the inverse of their stiffness.
    side : array, shape (B, n, F, i)
        Mass between the nodes' freedoms and y.
    inner : array, shape (B, F, i, i)
        Mass of y.
    push : array, shape (B, F, i, k)
        Load of each field on y.
    """

    root: Array
    side: Array
    inner: Array
    push: Array


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Blocks:
    """Insides of one size, which touch nodes but not each other: F of i freedoms.

    Attributes
    ----------
    sides : array, shape (B, n, F, i)
        Between nodes and each inside.
    inner : array, shape (B, F, i, i)
        Within each.
    roots : array, shape (B, F, i, i), or (B, F, i) where diagonal
        R of each, with R R^T the inverse stiffness inside.
    places : int array, shape (F, i)
        Of each in vectors of the whole.
    """

    sides: Array
    inner: Array
    roots: Array
    places: Index

    @cached_property
    def grip(self) -> Array:
        """The most that each node's freedom moves each inside, over all variants, (n, F)."""
        return np.asarray(np.maximum(self.sides.max(axis=0), -self.sides.min(axis=0)).max(axis=2))

    def part(self, group: Index) -> Blocks | None:
        """Those that some nodes' freedoms move, with these alone; None where they move none."""
        grip = self.grip
        kept = np.flatnonzero(grip[group].max(axis=0) > _MOVES * grip.max(axis=0))
        if not len(kept):
            return None
        sides = np.take(self.sides, group, axis=1)
        if len(kept) == len(self.places):
            return replace(self, sides=sides)
        return Blocks(
            sides=np.take(sides, kept, axis=2),
            inner=np.take(self.inner, kept, axis=1),
            roots=np.take(self.roots, kept, axis=1),
            places=self.places[kept],
        )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Arrow:
    """A symmetric matrix that couples nodes with insides, but insides of different fields not with each other.

    Called with vectors (B, N, any), it gives their product with the matrix.

    Attributes
    ----------
    nodes : array, shape (B, n, n)
        Among the nodes.
    fields : list of Blocks
        The insides, which follow the nodes in vectors of the whole.
    """

    nodes: Array
    fields: list[Blocks]

    @property
    def size(self) -> int:
        """Length of its vectors."""
        return int(self.nodes.shape[1]) + sum(field.places.size for field in self.fields)

    def take(self, rows: Index | Flags) -> Arrow:
        """Some variants only."""
        fields = [
            replace(field, sides=field.sides[rows], inner=field.inner[rows], roots=field.roots[rows])
            for field in self.fields
        ]
        return Arrow(nodes=self.nodes[rows], fields=fields)

    def part(self, group: Index) -> tuple[Arrow, Index]:
        """The matrix on some nodes' freedoms, which nothing couples to others, and the insides that they move.

        With its places in vectors of the whole.
        """
        kept = [part for part in (field.part(group) for field in self.fields) if part is not None]
        part = Arrow(nodes=np.take(np.take(self.nodes, group, axis=1), group, axis=2), fields=kept)
        return part, np.concatenate([group, *(field.places.ravel() for field in kept)])

    @cached_property
    def side(self) -> Array:
        """All sides as one, (B, n, i)."""
        batch, count = self.nodes.shape[:2]
        sides = [field.sides.reshape(batch, count, -1) for field in self.fields]
        return sides[0] if len(sides) == 1 else np.concatenate([self.nodes[:, :, :0], *sides], axis=2)

    @cached_property
    def back(self) -> Array:
        """The same transposed, (B, i, n)."""
        return np.ascontiguousarray(_transposed(self.side))

    def split(self, count: int) -> tuple[Array, Array, Arrow]:
        """The matrix among its first freedoms, which are nodes, from these to the others, and among the others."""
        return (
            self.nodes[:, :count, :count],
            np.concatenate([self.nodes[:, count:, :count], self.back[:, :, :count]], axis=1),
            Arrow(
                nodes=self.nodes[:, count:, count:],
                fields=[
                    replace(field, sides=field.sides[:, count:], places=field.places - count)
                    for field in self.fields
                ],
            ),
        )

    def __call__(self, vectors: Array) -> Array:
        """Product with vectors (B, N, any)."""
        batch, count = self.nodes.shape[:2]
        result = np.empty_like(vectors)
        result[:, :count] = self.nodes @ vectors[:, :count]
        result[:, count:] = 0.0
        if count and self.fields:
            result[:, :count] += self.side @ vectors[:, count:]
            result[:, count:] = self.back @ vectors[:, :count]
        start = count
        for field in self.fields:
            stop = start + field.places.size
            own = vectors[:, start:stop].reshape(batch, *field.places.shape, -1)
            result[:, start:stop] += (field.inner @ own).reshape(batch, stop - start, -1)
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
    blocks = []
    start = count
    for one in insides:
        places = np.arange(start, start + one.inner.shape[1] * one.inner.shape[2])
        blocks.append(
            Blocks(
                sides=(factor @ one.side.reshape(*one.side.shape[:2], -1)).reshape(one.side.shape),
                inner=one.inner,
                roots=one.root,
                places=places.reshape(one.inner.shape[1:3]),
            )
        )
        start += len(places)
    arrow = Arrow(nodes=factor @ mass @ _transposed(factor), fields=blocks)
    omega, participation, states = few_modes(
        arrow,
        factor,
        np.concatenate(
            [factor @ loads, *(one.push.reshape(len(mass), -1, loads.shape[2]) for one in insides)], axis=1
        ),
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
        inside=[block.roots @ np.take(states, block.places, axis=1) for block in blocks],
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
        own = np.take(field, places, axis=1)
        values.append(value)
        # The prop's freedoms stand alone in these coordinates, and move the prop alone.
        moved.append(_transposed(mixed[:, :count]) @ np.take(factor[:, :, :prop], group[:count], axis=1))
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


def least(arrow: Arrow, count: int, more: Array, sought: Flags) -> Array:
    """Least eigenvalue of a matrix, as far as its first freedoms and some more vectors lead to it.

    Parameters
    ----------
    arrow, count, more
        As in `reached`.
    sought : array of bool, shape (B,)
        Where one below zero is expected.

    Returns
    -------
    array, shape (B,)
        Where none is below zero it may be any.

    Notes
    -----
    In two steps, and where the last one still lowered it by more than a share `_STILL` and it may be off by more than
    `_OFF`, in more. A step takes away all but a thirtieth to a hundredth of the error. Where one below zero is
    expected and not found, a third step is taken. One that rounding alone puts below zero counts as none.
    """
    result = np.empty(len(arrow.nodes))
    rows = np.arange(len(result))
    for steps in range(2, _MOST_STEPS + 1):
        space, reduced = reached(arrow, count, steps, more)
        values: Array = np.asarray(np.linalg.eigvalsh(reduced), dtype=np.float64)
        result[rows] = value = values[:, 0]
        if reduced.shape[1] == arrow.size:
            break
        # An odd number of eigenvalues below the mark, without the last step, shows as a negative determinant.
        before = reduced.shape[1] - count - more.shape[2]
        mark = np.eye(before) * ((1 - _STILL) * value)[:, None, None]
        sign = np.linalg.slogdet(reduced[:, :before, :before] - mark).sign
        negative = value < -reduced.shape[1] * np.finfo(np.float64).eps * np.abs(values).max(axis=1)
        going = np.flatnonzero(np.where(negative, sign > 0, sought & (steps == 2)))
        places = np.flatnonzero(negative[going])
        if len(places):
            below = going[places]
            off = _off(arrow.take(below), count, space[below], reduced[below], values[below])
            going = np.delete(going, places[off <= _OFF])
        if not len(going):
            break
        rows, more, sought, arrow = rows[going], more[going], sought[going], arrow.take(going)
    return result


def _off(arrow: Arrow, count: int, space: Array, reduced: Array, values: Array) -> Array:
    """How far off the least of some values may be, as a share of it, (B,).

    By the bound of Temple and Kato: the square of the residual over the distance to the next value (B. N. Parlett,
    The Symmetric Eigenvalue Problem, ch. 10, from memory), with values that are all but equal taken for one.
    """
    _, side, others = arrow.split(count)
    least = values[:, 0]
    # Two steps of inverse iteration, beside the value so that there is something to solve.
    shifted = reduced - np.eye(reduced.shape[1]) * (least * (1 + 1e-9))[:, None, None]
    vector = np.ones((*least.shape, reduced.shape[1], 1))
    for _ in range(2):
        vector = solved(shifted, vector)
        vector /= np.linalg.norm(vector, axis=1, keepdims=True)
    own = space @ vector[:, count:]
    left = side @ vector[:, :count] + others(own) - least[:, None, None] * own
    apart = values - least[:, None]
    gap = np.where(apart > _EQUAL * np.abs(least)[:, None], apart, np.inf).min(axis=1)
    return np.asarray((left**2).sum(axis=(1, 2)) / gap / np.abs(least))


_STILL = 4e-3
"""Share by which a step may lower the least eigenvalue for it to be the last."""
_OFF = 9e-4
"""Share that it may be off where a step lowered it by more; the bound is several times the error as a rule."""
_EQUAL = 1e-2
"""Share by which values are apart that count as two."""
_MOST_STEPS = 5


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
    return np.swapaxes(matrix, -1, -2)


_MOVES = 1e-13
"""Share of the largest coupling below which nodes do not move what is inside a field."""
