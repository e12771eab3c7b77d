"""Rig files of a prop on lines, each line given by its root, its tip and how hard it was pulled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigcheck.files import rig_from_text
from rigcheck.model import Shot
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.task import Task

Vector = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Line:
    """From `root` to `tip` [mm], both in one frame; `tension` in newtons."""

    root: Vector
    tip: Vector
    tension: float | None = None


def line_file(
    lines: Sequence[Line],
    *,
    mass: str = "60 g",
    centre: Vector = (0.0, -20.0, 0.0),
    body: str = 'shape = "box"\nsize = ["60 mm", "40 mm", "30 mm"]',
    material: str = "nylon-monofilament",
    diameter: str = "0.1 mm",
    move: str = "",
) -> str:
    """The rig file; `centre` is the centre of mass in the frame of the lines [mm]."""
    first = np.array(lines[0].tip)
    text = f'[[prop]]\nname = "crane"\nmass = "{mass}"\n{body}\n'
    text += f"centre_of_mass = {_lengths(np.array(centre) - first)}\n"
    for number, line in enumerate(lines):
        tip = np.array(line.tip)
        text += f'[[prop.support]]\nmaterial = "{material}"\ndiameter = "{diameter}"\n'
        if number:
            text += f"offset = {_lengths(tip - first)}\n"
        text += f'path = [{_lengths(np.array(line.root) - tip)}, ["0 mm", "0 mm", "0 mm"]]\n'
        if line.tension is not None:
            text += f'tension = "{line.tension} N"\n'
    return text + move


def shot_on_lines(lines: Sequence[Line], **given: object) -> Shot:
    """The shot of `line_file`."""
    return rig_from_text(line_file(lines, **given))  # type: ignore[arg-type]


def task_on_lines(lines: Sequence[Line], **given: object) -> Task:
    """Its prop, made ready to compute."""
    shot = shot_on_lines(lines, **given)
    return read_prop(shot, shot.prop[0]).task


def _lengths(vector: np.ndarray) -> str:
    return "[" + ", ".join(f'"{round(float(value), 6) + 0.0:.12g} mm"' for value in vector) + "]"
