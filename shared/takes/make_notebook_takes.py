"""Makes the demo takes of the desk set's notebook: its move and the ringing after it, and a tap with a finger.

The notebook's rig is that of ``shared/shots/desk-set.toml`` but for one thing: the collet has worked loose and acts
like 8 diameters of free length instead of 1. The tracks are what the camera of that file would see, the move at 50
frames a second and the tap at 120, with a tracker's noise, some frames lost and two decimals. Of the tap a corner
40 mm right of the centre of mass, 4 mm above and 60 mm toward the camera is followed, of the move the centre itself.
Seeded: it always makes the same files.

    python shared/takes/make_notebook_takes.py shared/takes
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rigcheck.files import read_rig
from rigcheck.motion.response import unit_displacement
from rigcheck.studies.evaluate import Outcome, evaluate
from rigcheck.studies.explain.faults import faults_of
from rigcheck.studies.explain.modes import MODES
from rigcheck.studies.explain.seen import intended
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.task import Task

__all__ = ["takes"]

Array = NDArray[np.float64]

SOFTER = 8.0
"""What the loose collet acts like, in diameters of free length."""
DAMPING_RATIO = 0.004
LATE = 0.38
"""How long the camera runs before the move's clock starts, and before the tap [s]."""
NOISE = 0.15
"""Standard deviation of the tracker on each axis [px]."""
LOST = 9
HOME = (1310.0, 1220.0)
"""Where the point comes to rest in the picture, y down [px]."""
CORNER = (0.040, 0.004, 0.060)
TAPPED = (0.030, -0.006, -0.050)
"""Where the finger taps, from the centre of mass [m]."""
TAP = (0.55, -0.75, 0.2)
"""Which way: right, up, toward."""
STRONGEST = 9.0
"""The largest movement after the tap [px]."""


def takes() -> dict[str, str]:
    """Give the text of each take by its file's name."""
    shot = read_rig(Path(__file__).parents[1] / "shots" / "desk-set.toml")
    prop = shot.find_prop("notebook")
    reading = read_prop(shot, prop)
    clamp = next(fault for fault in faults_of(shot, prop, reading) if fault.id == "clamp-softer")
    # Every mode that moves the prop: a tap rings those too that no move does.
    settings = replace(reading.task.settings, least_share=0.0, modes=3 * MODES)
    outcome = evaluate(clamp.apply(reading.task.rig, np.array([SOFTER])), settings)
    return {
        "notebook-take.csv": _written(_move(reading.task, outcome, np.arange(500) / 50.0), 50.0, seed=1),
        "notebook-tap.csv": _written(_tap(reading.task, outcome, np.arange(840) / 120.0), 120.0, seed=2),
    }


def _move(task: Task, outcome: Outcome, times: Array) -> Array:
    """Track of the centre of mass from where it comes to rest, y up [px]."""
    assert task.eye is not None  # the file has a camera
    view, travel, dynamics = task.eye.jacobian, task.travels[0], outcome.dynamics
    omega = dynamics.angular_frequency[0]
    drive = dynamics.participation[0, :, :3] @ np.array(travel.direction) * float(travel.stroke[0])
    modal = drive[:, None] * unit_displacement(
        travel.profile,
        duration=float(travel.duration[0]),
        angular_frequency=omega,
        damping_ratio=np.full_like(omega, DAMPING_RATIO),
        times=times - LATE - float(travel.start[0]),
    )
    path = intended(task.travels, times - LATE, outcome.rig.centre_of_mass[0], view)
    return np.asarray(path + (view @ (dynamics.shape[0, :3] @ modal)).T)


def _tap(task: Task, outcome: Outcome, times: Array) -> Array:
    """Track of the corner, set ringing by a short knock, y up [px]."""
    assert task.eye is not None  # the file has a camera
    dynamics = outcome.dynamics
    shift, turn = dynamics.shape[0, :3], dynamics.shape[0, 3:]
    struck = np.array(TAP) @ (shift + np.cross(turn, np.array(TAPPED)[:, None], axis=0))
    shown = task.eye.jacobian @ (shift + np.cross(turn, np.array(CORNER)[:, None], axis=0))
    omega = dynamics.angular_frequency[0][:, None]
    since = np.maximum(times - LATE, 0.0)
    ringing = np.exp(-DAMPING_RATIO * omega * since) * np.sin(omega * np.sqrt(1 - DAMPING_RATIO**2) * since)
    track = (shown @ (struck[:, None] / omega * ringing)).T
    return np.asarray(track * STRONGEST / np.abs(track).max())


def _written(track: Array, frame_rate: float, *, seed: int) -> str:
    rng = np.random.default_rng(seed)
    seen = track * [1.0, -1.0] + HOME + rng.normal(0.0, NOISE, track.shape)
    lost = set(rng.choice(len(track), LOST, replace=False).tolist())
    rows = (
        f"{frame},{frame / frame_rate:.5f},{x:.2f},{y:.2f}\n"
        for frame, (x, y) in enumerate(seen)
        if frame not in lost
    )
    return "frame,time_s,x_px,y_px\n" + "".join(rows)


if __name__ == "__main__":
    for name, text in takes().items():
        (Path(sys.argv[1]) / name).write_text(text, encoding="utf-8")
