"""One prop as it will be computed, and what its user could take instead."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.evaluate import Outcome, Settings, evaluate
from rigcheck.studies.eye import Eye
from rigcheck.studies.grading import Grade, Limits, grade
from rigcheck.studies.moves import Push, Travel, is_turning
from rigcheck.studies.moving import MotionOutcome, move
from rigcheck.studies.rigs import Material, Rig, stack

__all__ = ["Choices", "Task", "Tube", "joined"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Task:
    """One prop as it will be computed: a batch of one, its moves, its limits."""

    rig: Rig
    travels: tuple[Travel, ...] = ()
    pushes: tuple[Push, ...] = ()
    settings: Settings
    limits: Limits
    eye: Eye | None

    @property
    def is_turning(self) -> bool:
        """Whether a move rolls it."""
        return is_turning(self.travels)

    def evaluate(self) -> Outcome:
        """Compute it at rest."""
        return evaluate(self.rig, self.settings, turning=self.is_turning)

    def move(self, still: Outcome, *, course: bool = True, unseen: float = 0.0) -> MotionOutcome | None:
        """Move it; None where there is no move.

        Without the `course` there is no peak deviation; for `unseen` see `rigcheck.studies.moving.move`.
        """
        if not self.travels and not self.pushes:
            return None
        return move(
            still, travels=self.travels, pushes=self.pushes, eye=self.eye, course=course, unseen=unseen
        )

    def grade(self, still: Outcome) -> dict[str, Grade]:
        """Hold it against its limits."""
        return grade(still, self.move(still, course=False), self.limits, self.eye)


def joined(tasks: Sequence[Task]) -> Task:
    """Several tasks as one batch.

    Parameters
    ----------
    tasks : sequence of Task
        Of one layout (`rigcheck.studies.rigs.layout_of`), settings, limits and eye.

    Returns
    -------
    Task
    """
    return replace(
        tasks[0],
        rig=stack([task.rig for task in tasks]),
        travels=stack([task.travels for task in tasks]),
        pushes=stack([task.pushes for task in tasks]),
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Tube:
    """A tube that can be had: its material, sizes [m], and the constants of it, a batch of one."""

    name: str
    diameter: float
    wall_thickness: float
    constants: Material


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Choices:
    """What the user could take instead.

    Attributes
    ----------
    constants : Callable
        Of the first support's material at a diameter: those of drawn wire change with it.
    sizes : array, shape (k,)
        Diameters that the first support's material is sold in [m].
    tube_walls : array, shape (k,)
        Wall of each size for a tube [m]; NaN for a rod.
    materials : tuple of (str, Callable)
        Other stock of the same form: its name, and its constants at a diameter.
    tubes : tuple of Tube
        To take instead of a rod, or to slip over it.
    room : float or None
        How far apart supports may stand in the prop [m]; None where its size is not known.
    """

    constants: Callable[[Array], Material]
    sizes: Array
    tube_walls: Array
    materials: tuple[tuple[str, Callable[[Array], Material]], ...] = ()
    tubes: tuple[Tube, ...] = ()
    room: float | None = None
