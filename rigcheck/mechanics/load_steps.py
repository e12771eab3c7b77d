"""Raising a load in steps: Newton's method for a batch of rods, each variant at its own step.

From a state in equilibrium the straight-line guess for the rest of the load is cut back to a turn that
Newton's method can follow. A step that does not converge, moves much further than its guess or ends on an
unstable branch is taken again in halves; where even a tiny step fails there is no equilibrium near by, and
the variant is given up.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.rods import Evaluation, Rods, State

__all__ = ["Search", "is_stable", "solve_tangent"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

_TURN_PER_STEP = 0.9
"""Largest turn that the straight-line guess of a load step may ask for [rad]."""
_STEP_ITERATIONS = 14
"""Newton iterations after which a load step counts as too long."""
_PATIENCE = 5
"""Newton iterations of a load step after which every correction must at least halve."""
_MOST_GROWTH = 2.0
"""A load step that moves more than this many times its straight-line guess has snapped over, or was too
long."""
_LEAST_STEP = 5e-5
"""Share of the load below which a step that still fails ends the search."""
_BRANCH_STEP = 1e-4
"""Steps longer than this may have jumped over to an unstable branch, and are taken again in two halves."""
_SETTLED_CHANGE = 1e-6
"""Last correction, as a share of the whole change of shape: the error left is about its square."""
_PASSING_CHANGE = 1e-2
"""The same for steps on the way, whose error the next step takes up."""
_MOST_BENT, _MOST_STRETCHED = 0.1, 0.5
"""Strain at a radius of gyration from the neutral line (less than that at the surface), and along the line, at which
a variant is given up: the theory is one of small strains, and no support is elastic as far as that."""
_FLOOR = 256 * float(np.finfo(float).eps)


class Search:
    """Newton's method in load steps for a batch; every variant at its own step.

    Parameters
    ----------
    rods : Rods
        The model.
    gravity : array, shape (B, 3)
        [m/s2].
    tolerance : float
        Greatest force out of balance over the whole weight.
    most_iterations : int
        For each variant.

    Attributes
    ----------
    converged : array of bool, shape (B,)
        After `run`.
    base, base_share : State, and array of shape (B,)
        The state found last and the share of the weight it carries.
    trial, target : State, and array of shape (B,)
        The state and the share that the search was at when it stopped.
    iterations : array of int, shape (B,)
        Used.
    final : Evaluation or None
        At the states that converged; NaN elsewhere. None where none did.
    load : array, shape (B, N, 3)
        Full weight, and push on the prop, on all nodes [N].
    force_scale : array, shape (B,)
        Size of all of it [N].
    """

    def __init__(self, rods: Rods, gravity: Array, tolerance: float, most_iterations: int) -> None:
        self.rods, self.tolerance, self.most_iterations = rods, tolerance, most_iterations
        batch = rods.batch
        self.load = rods.load(gravity)
        self.force_scale = np.sum(np.linalg.norm(self.load, axis=2), axis=1)
        self.reach = _reach(rods)
        # Rounding of the strains leaves forces out of balance that no iteration removes: of the stiffest of
        # stretch and shear times the change of shape, and of the tension that is always there.
        stiff = [np.max(line.strain_stiffness[..., :3], axis=(1, 2)) for line in rods.lines]
        self.rounding = _FLOOR * np.max(stiff, axis=0)
        self.pull = _FLOOR * np.max([line.pull for line in rods.lines], axis=0)
        # The state found last, and the share of the weight it carries.
        self.base, self.base_share = rods.rest(), np.zeros(batch)
        self.base_stress = rods.rest_stress()
        self.base_stable = np.ones(batch, dtype=bool)
        # The state being improved. A variant is fresh when it stands at its base and needs a first guess.
        self.trial, self.target = rods.rest(), np.zeros(batch)
        self.carried = rods.rest_stress()
        self.fresh = np.ones(batch, dtype=bool)
        self.longest = np.ones(batch)
        self.guessed = np.zeros(batch)
        self.change = np.full(batch, np.inf)
        self.inside = np.zeros(batch, dtype=int)
        self.iterations = np.zeros(batch, dtype=int)
        self.active = np.ones(batch, dtype=bool)
        self.converged = np.zeros(batch, dtype=bool)
        self.final: Evaluation | None = None

    def run(self) -> None:
        """Go on until every variant has arrived or is given up."""
        while self.active.any():
            self._iterate(np.flatnonzero(self.active))

    def _iterate(self, chosen: Index) -> None:
        part, state = self.rods.take(chosen), self.trial.take(chosen)
        fresh = self.fresh[chosen]
        share = np.where(fresh, 1.0, self.target[chosen])
        carried = [stress[chosen] for stress in self.carried]
        evaluation = part.evaluate(state, share[:, None, None] * self.load[chosen], carried, share=share)
        found = ~fresh & self._found(chosen, evaluation, state)
        if found.any():
            self._accept(chosen, found, evaluation)
            if not self.active[chosen].any():
                return
        step = solve_tangent(part, evaluation.tangent, -evaluation.gradient)
        angular = part.angular
        turn = np.max(np.abs(step[:, angular]), axis=1)
        length = np.ones(len(chosen))
        left = 1.0 - self.base_share[chosen]
        with np.errstate(invalid="ignore", divide="ignore"):
            guess = np.minimum(np.minimum(_TURN_PER_STEP / turn, self.longest[chosen] / left), 1.0)
        length[fresh] = guess[fresh]
        target = np.where(length < 1, self.base_share[chosen] + length * left, 1.0)
        self.target[chosen] = np.where(fresh & ~found, target, self.target[chosen])
        step = step * length[:, None]
        change = np.max(np.abs(np.where(angular, step, step / self.reach[chosen, None])), axis=1)
        lost = ~found & ~(change < 4 * _TURN_PER_STEP)
        lost |= ~found & (self.inside[chosen] >= _STEP_ITERATIONS)
        # Below the least change worth noting, rounding decides and corrections need not shrink.
        slow = (change > 0.5 * self.change[chosen]) & (change > _SETTLED_CHANGE)
        lost |= ~found & (self.inside[chosen] >= _PATIENCE) & slow
        going = ~found & ~lost
        index = chosen[going]
        if len(index):
            kept = np.flatnonzero(going)
            moved = part.advance(state, np.where(going[:, None], step, 0.0)).take(kept)
            self.trial.put(index, moved)
            for stress, new in zip(self.carried, part.predicted_stress(state, evaluation, step), strict=True):
                stress[index] = new[kept]
            self.guessed[index] = np.where(fresh, change, self.guessed[chosen])[going]
            self.change[index] = change[going]
            self.iterations[index] += 1
            self.inside[index] += 1
            self.fresh[index] = False
        if lost.any():
            self._shorten(chosen[lost])
        tired = chosen[self.iterations[chosen] >= self.most_iterations]
        self.active[tired] = False

    def _found(self, chosen: Index, evaluation: Evaluation, state: State) -> Flags:
        shift = np.max(np.abs(state.shift), axis=(1, 2)) / self.reach[chosen]
        size = np.maximum(shift, 2 * np.max(np.abs(state.turn[..., 1:]), axis=(1, 2)))
        last = self.target[chosen] == 1.0
        allowed = np.where(last, _SETTLED_CHANGE, _PASSING_CHANGE) * size
        small = self.change[chosen] <= allowed
        out = self.unbalance(chosen, evaluation)
        tolerance = np.where(last, self.tolerance, 1e3 * _PASSING_CHANGE * self.tolerance**0.5)
        rounding = self.rounding[chosen] * size + self.pull[chosen]
        return np.asarray(small & (out <= tolerance * self.force_scale[chosen] + rounding))

    def unbalance(self, chosen: Index, evaluation: Evaluation) -> Array:
        """Largest force out of balance, or couple over the reach [N]."""
        force = np.where(
            self.rods.angular, evaluation.gradient / self.reach[chosen, None], evaluation.gradient
        )
        return np.asarray(np.max(np.abs(force), axis=1))

    def _accept(self, chosen: Index, found: Flags, evaluation: Evaluation) -> None:
        kept = np.flatnonzero(found)
        index = chosen[kept]
        stable = is_stable(self.rods, evaluation.tangent[kept])
        far = self.target[index] - self.base_share[index] > _BRANCH_STEP
        jumped = ~stable & self.base_stable[index] & far
        jumped |= self._moved(index) > _MOST_GROWTH * self.guessed[index] + _SETTLED_CHANGE
        if jumped.any():
            self._shorten(index[jumped])
        kept, index, stable = kept[~jumped], index[~jumped], stable[~jumped]
        self.base.put(index, self.trial.take(index))
        before = self.base_share[index]
        self.base_share[index] = self.target[index]
        self.base_stable[index] = stable
        for store, carried, stress in zip(self.base_stress, self.carried, evaluation.stress, strict=True):
            store[index] = carried[index] = stress[kept]
        torn = self._overstrained(index)
        self.active[index[torn]] = False
        self.base_share[index[torn]] = before[torn]
        arrived = ~torn & (self.base_share[index] == 1.0)
        done = index[arrived]
        if len(done) == self.rods.batch:
            self.final = evaluation
        elif len(done):
            self.final = self.final or evaluation.unknown(self.rods.batch)
            self.final.put(done, evaluation, kept[arrived])
        self.converged[done] = True
        self.active[done] = False
        self.fresh[index] = True
        self.inside[index] = 0
        self.longest[index] *= 2

    def _overstrained(self, index: Index) -> Flags:
        """Which of the states found last are strained by more than any support could be."""
        result = np.zeros(len(index), dtype=bool)
        for line, carried in zip(self.rods.lines, self.base_stress, strict=True):
            stiffness, stress = line.strain_stiffness[index][:, :, None], carried[index]
            axial = stiffness[..., 0]
            bent = np.linalg.norm(stress[..., 4:] / np.sqrt(stiffness[..., 4:] * axial[..., None]), axis=-1)
            stretched = np.abs(stress[..., 0]) / axial
            result |= np.any((bent > _MOST_BENT) | (stretched > _MOST_STRETCHED), axis=(1, 2))
        return result

    def _moved(self, index: Index) -> Array:
        """How far the last step went, in radians or lengths."""
        shift = (
            np.max(np.abs(self.trial.shift[index] - self.base.shift[index]), axis=(1, 2)) / self.reach[index]
        )
        turn = 2 * np.arccos(
            np.clip(np.abs(np.sum(self.trial.turn[index] * self.base.turn[index], axis=-1)), 0.0, 1.0)
        )
        return np.asarray(np.maximum(shift, np.max(turn, axis=1)))

    def _shorten(self, index: Index) -> None:
        """Go back to the state found last and try half the step."""
        tried = np.where(self.fresh[index], self.longest[index], self.target[index] - self.base_share[index])
        self.longest[index] = tried / 2
        self.trial.put(index, self.base.take(index))
        for carried, stress in zip(self.carried, self.base_stress, strict=True):
            carried[index] = stress[index]
        self.fresh[index] = True
        self.inside[index] = 0
        self.active[index[self.longest[index] < _LEAST_STEP]] = False


# -- linear algebra ----------------------------------------------------------------------------------------
# The nodes inside an element touch no other element. Taking them out first leaves a matrix a quarter of the
# size, which is most of the time saved: a stack of small matrices is far cheaper than one of large ones.


@dataclass(frozen=True, kw_only=True)
class _Condensed:
    outer: Index  # freedoms that are kept
    inner: list[Index]  # freedoms inside each element (E, k), for each group of elements of one size
    near: list[Index]  # places among the kept freedoms of those that each element touches (E, m)
    blocks: list[Array]  # (B, E, k, k), of the inner freedoms
    carried: list[Array]  # (B, E, k, m), inverse of the blocks times the links
    reduced: Array


def _condense(rods: Rods, tangent: Array) -> _Condensed:
    outer = rods.outer_freedoms
    reduced = tangent[:, outer[:, None], outer]
    inner, near, blocks, carried = [], [], [], []
    for own, touched in rods.inner_freedoms:
        place = np.searchsorted(outer, touched)
        rows = own[:, :, None]
        block, link = tangent[:, rows, own[:, None]], tangent[:, rows, touched[:, None]]
        back = np.asarray(np.linalg.solve(block, link), dtype=np.float64)
        taken = np.swapaxes(link, -1, -2) @ back
        for index, freedoms in enumerate(place):  # neighbours share their nodes
            reduced[:, freedoms[:, None], freedoms] -= taken[:, index]
        inner.append(own)
        near.append(place)
        blocks.append(block)
        carried.append(back)
    return _Condensed(outer=outer, inner=inner, near=near, blocks=blocks, carried=carried, reduced=reduced)


def _solve(rods: Rods, tangent: Array, right: Array) -> Array:
    parts = _condense(rods, tangent)
    outer = right[:, parts.outer]
    for inner, near, back in zip(parts.inner, parts.near, parts.carried, strict=True):
        taken = np.einsum("bekm,bek->bem", back, right[:, inner])
        for index, place in enumerate(near):
            outer[:, place] -= taken[:, index]
    result = np.empty_like(right)
    found = np.linalg.solve(parts.reduced, outer[..., None])[..., 0]
    result[:, parts.outer] = found
    for inner, near, block, back in zip(parts.inner, parts.near, parts.blocks, parts.carried, strict=True):
        alone = np.linalg.solve(block, right[:, inner, None])
        result[:, inner] = (alone - back @ found[:, near, None])[..., 0]
    return result


def solve_tangent(rods: Rods, tangent: Array, right: Array) -> Array:
    """Solve with the tangent of every variant.

    Parameters
    ----------
    rods : Rods
        The model, for its layout.
    tangent : array, shape (B, n, n)
        As in `Evaluation`.
    right : array, shape (B, n)
        Right-hand sides.

    Returns
    -------
    array, shape (B, n)
        NaN where a tangent is singular.
    """
    with contextlib.suppress(np.linalg.LinAlgError):
        return _solve(rods, tangent, right)
    result = np.full_like(right, np.nan)
    for index in range(len(tangent)):
        with contextlib.suppress(np.linalg.LinAlgError):
            result[index] = _solve(rods, tangent[index : index + 1], right[index : index + 1])[0]
    return result


def is_stable(rods: Rods, tangent: Array) -> Flags:
    """Which of the tangents are positive definite.

    Parameters
    ----------
    rods : Rods
        The model, for its layout.
    tangent : array, shape (B, n, n)
        As in `Evaluation`.

    Returns
    -------
    array of bool, shape (B,)
    """
    if not len(tangent):
        return np.zeros(0, dtype=bool)
    try:
        parts = _condense(rods, tangent)
        for matrix in (*parts.blocks, parts.reduced):
            np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        if len(tangent) == 1:
            return np.zeros(1, dtype=bool)
        half = len(tangent) // 2
        return np.concatenate([is_stable(rods, tangent[:half]), is_stable(rods, tangent[half:])])
    return np.ones(len(tangent), dtype=bool)


def _reach(rods: Rods) -> Array:
    """The length that rotations are compared with: of the longest support, or from a tip to the prop."""
    lengths = [np.sum(line.length, axis=1) for line in rods.lines]
    arms = [np.linalg.norm(line.arm, axis=1) for line in rods.lines]
    return np.asarray(np.max([*lengths, *arms], axis=0))
