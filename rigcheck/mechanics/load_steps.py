"""Raising a load in steps: Newton's method for a batch of rods, each variant at its own step.

From a state in equilibrium the straight-line guess for the rest of the load is cut back to a turn that
Newton's method can follow. A step that does not converge, moves much further than its guess or ends on an
unstable branch is taken again in halves; where even a tiny step fails there is no equilibrium near by, and
the variant is given up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import solved
from rigcheck.mechanics.linear_rods import linear_step
from rigcheck.mechanics.rod_elements import END_FREEDOMS
from rigcheck.mechanics.rods import Evaluation, Rods, State

__all__ = ["Condensed", "Search", "condensed", "is_stable", "newton_step"]

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
        self.gravity, self.load = gravity, rods.load(gravity)
        self.force_scale = np.sum(np.linalg.norm(self.load, axis=2), axis=1)
        self.reach = _reach(rods)
        # Rounding of the strains leaves forces out of balance that no iteration removes: of the stiffest of
        # stretch and shear times the change of shape, and of the tension that is always there.
        self.rounding = _FLOOR * np.max(rods.strain_stiffness[..., :3], axis=(1, 2))
        self.pull = _FLOOR * np.max(rods.pull, axis=1)
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
        if self.rods.natural is None and not np.any(self.rods.pull):
            everyone = np.arange(self.rods.batch)
            step, change = linear_step(self.rods, self.gravity)
            self._move(everyone, self.rods, self.trial, np.zeros_like(self.fresh), step, self.carried, change)
        while self.active.any():
            self._iterate(np.flatnonzero(self.active))

    def _iterate(self, chosen: Index) -> None:
        part, state, carried = self.rods, self.trial, self.carried
        if len(chosen) < part.batch:
            part, state, carried = part.take(chosen), state.take(chosen), carried[chosen]
        fresh = self.fresh[chosen]
        share = np.where(fresh, 1.0, self.target[chosen])
        evaluation = part.evaluate(state, share[:, None, None] * self.load[chosen], carried, share=share)
        parts = condensed(part, evaluation)
        found = ~fresh
        if found.any():
            found &= self._found(chosen, evaluation, state)
        if found.any():
            self._accept(chosen, found, evaluation, is_stable(parts))
            if not self.active[chosen].any():
                return
        step = newton_step(part, evaluation, parts)
        steps = part.element_steps(evaluation.ends, step[..., None])
        change = part.stress_change(evaluation.strain_map, steps)[..., 0]
        self._move(chosen, part, state, found, step, evaluation.stress, change)

    def _move(
        self, chosen: Index, part: Rods, state: State, found: Flags, step: Array, stress: Array, change: Array
    ) -> None:
        """Take a step, of a fresh variant as much as it can follow, with what it changes of the section forces."""
        fresh = self.fresh[chosen]
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
        size = np.max(np.abs(np.where(angular, step, step / self.reach[chosen, None])), axis=1)
        lost = ~found & ~(size < 4 * _TURN_PER_STEP)
        lost |= ~found & (self.inside[chosen] >= _STEP_ITERATIONS)
        # Below the least change worth noting, rounding decides and corrections need not shrink.
        slow = (size > 0.5 * self.change[chosen]) & (size > _SETTLED_CHANGE)
        lost |= ~found & (self.inside[chosen] >= _PATIENCE) & slow
        going = ~found & ~lost
        index = chosen[going]
        if len(index):
            kept = np.flatnonzero(going)
            moved = part.advance(state, np.where(going[:, None], step, 0.0)).take(kept)
            self.trial.put(index, moved)
            self.carried[index] = stress[kept] + length[kept, None, None, None] * change[kept]
            self.guessed[index] = np.where(fresh, size, self.guessed[chosen])[going]
            self.change[index] = size[going]
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

    def _accept(self, chosen: Index, found: Flags, evaluation: Evaluation, stable: Flags) -> None:
        kept = np.flatnonzero(found)
        index, stable = chosen[kept], stable[kept]
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
        self.base_stress[index] = self.carried[index] = evaluation.stress[kept]
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
        stiffness, stress = self.rods.strain_stiffness[index][:, :, None], self.base_stress[index]
        axial = stiffness[..., 0]
        bent = np.linalg.norm(stress[..., 4:] / np.sqrt(stiffness[..., 4:] * axial[..., None]), axis=-1)
        stretched = np.abs(stress[..., 0]) / axial
        return np.asarray(np.any((bent > _MOST_BENT) | (stretched > _MOST_STRETCHED), axis=(1, 2)))

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
        self.carried[index] = self.base_stress[index]
        self.fresh[index] = True
        self.inside[index] = 0
        self.active[index[self.longest[index] < _LEAST_STEP]] = False


# -- linear algebra ----------------------------------------------------------------------------------------
# The nodes inside an element touch no other element. Taking them out first leaves a matrix a quarter of the
# size, which is most of the time saved: a stack of small matrices is far cheaper than one of large ones.


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Condensed:
    """Tangent and gradient with the nodes inside the elements taken out.

    Attributes
    ----------
    blocks : array, shape (B, E, k, k)
        Of the freedoms inside each element.
    inner : array, shape (B, E, k, 13)
        Inverse of these times the links to the element's ends, and times the gradient.
    reduced, gradient : array, shape (B, m, m) and (B, m)
        Of the outer freedoms.
    """

    blocks: Array
    inner: Array
    reduced: Array
    gradient: Array


def condensed(rods: Rods, evaluation: Evaluation) -> Condensed:
    """Take the nodes inside the elements out.

    Parameters
    ----------
    rods : Rods
        The model.
    evaluation : Evaluation
        At any state.

    Returns
    -------
    Condensed
        NaN where the tangent of the nodes inside an element is singular.
    """
    tangent, maps = evaluation.element_tangent, evaluation.ends.maps
    inside = evaluation.gradient[:, rods.inner_freedoms]
    inside = (inside.reshape(*inside.shape[:2], -1, 3) @ np.swapaxes(rods.axes, -1, -2)).reshape(inside.shape)
    blocks = tangent[..., END_FREEDOMS:, END_FREEDOMS:]
    inner = solved(
        blocks, np.concatenate([tangent[..., END_FREEDOMS:, :END_FREEDOMS], inside[..., None]], axis=-1)
    )
    added = -(tangent[..., :END_FREEDOMS, END_FREEDOMS:] @ inner)
    added[..., :END_FREEDOMS] += tangent[..., :END_FREEDOMS, :END_FREEDOMS]
    back = np.swapaxes(maps, -1, -2)
    stiff = back @ added[..., :END_FREEDOMS] @ maps
    force = (back @ added[..., END_FREEDOMS:])[..., 0]
    reduced, gradient = evaluation.corner.copy(), evaluation.gradient[:, rods.outer_freedoms]
    rods.add_outer(reduced, stiff)
    rods.add_outer_rows(gradient, force)
    return Condensed(blocks=blocks, inner=inner, reduced=reduced, gradient=gradient)


def newton_step(rods: Rods, evaluation: Evaluation, parts: Condensed) -> Array:
    """The step of all freedoms that the tangent asks for.

    Parameters
    ----------
    rods : Rods
        The model.
    evaluation : Evaluation
        At any state.
    parts : Condensed
        Of this evaluation.

    Returns
    -------
    array, shape (B, n)
        NaN where a tangent is singular.
    """
    outer = -solved(parts.reduced, parts.gradient[..., None])
    ends = evaluation.ends.maps @ rods.at_ends(outer)
    local = parts.inner[..., :END_FREEDOMS] @ ends + parts.inner[..., END_FREEDOMS:]
    result = np.empty_like(evaluation.gradient)
    result[:, rods.outer_freedoms] = outer[..., 0]
    turned = local.reshape(*local.shape[:2], -1, 3) @ rods.axes
    result[:, rods.inner_freedoms] = -turned.reshape(local.shape[:3])
    return result


def is_stable(parts: Condensed) -> Flags:
    """Which of the tangents are positive definite.

    Parameters
    ----------
    parts : Condensed
        Of them.

    Returns
    -------
    array of bool, shape (B,)
    """
    return _definite(parts.blocks, parts.reduced)


def _definite(blocks: Array, reduced: Array) -> Flags:
    if not len(reduced):
        return np.zeros(0, dtype=bool)
    try:
        for matrix in (blocks, reduced):
            np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        if len(reduced) == 1:
            return np.zeros(1, dtype=bool)
        half = len(reduced) // 2
        return np.concatenate(
            [_definite(blocks[:half], reduced[:half]), _definite(blocks[half:], reduced[half:])]
        )
    return np.ones(len(reduced), dtype=bool)


def _reach(rods: Rods) -> Array:
    """The length that rotations are compared with: of the longest support, or from a tip to the prop."""
    lengths = [np.sum(rods.length[:, line.elements], axis=1) for line in rods.lines]
    arms = np.linalg.norm(rods.arm, axis=2)
    return np.asarray(np.max([*lengths, *arms.T], axis=0))
