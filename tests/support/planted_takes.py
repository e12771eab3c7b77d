"""Takes of made-up desk-set rigs with one planted fault each, for the tests of `explain`.

A rig is described by a file; the true one differs from it within the ranges that every input has by default, and in
the fault. Its own modes, a tap or a move, and what else shakes the picture make the track. Seeded: the same number
gives the same take.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from rigcheck.files import rig_from_text
from rigcheck.files.takes import Take
from rigcheck.model import Shot
from rigcheck.motion.response import unit_displacement
from rigcheck.studies.evaluate import evaluate
from rigcheck.studies.explain.faults import faults_of
from rigcheck.studies.explain.modes import MODES, uncertain, varied
from rigcheck.studies.explain.seen import intended
from rigcheck.studies.explain.study import explain
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.rigs import Rig

KINDS = (
    "as-described",
    "clamp-softer",
    "clamp-play",
    "prop-heavier",
    "prop-further-out",
    "support-thinner",
    "joint-flexing",
    "camera",
    "roll-runout",
    "keyframes",
    "drive-rate",
    "air",
)
RIG_FAULTS = ("clamp-softer", "prop-heavier", "prop-further-out", "support-thinner", "joint-flexing")
MATTERS = 1.645
"""Standard deviations of what the ranges leave open by which a planted fault moves a seen frequency: less is none."""
SHOWS = 5.0
"""Times the noise of a frame by which a mode swings in the take, to be seen."""
NOISE = 0.1
"""Of a frame on one axis [px]."""
POINT = (0.35, 0.4, 0.3)
"""Where the followed point is, in prop sizes from the centre of mass."""


@dataclass(frozen=True, kw_only=True)
class Planted:
    """A take with a fault, and what to ask about it."""

    kind: str
    value: float | str
    shot: Shot
    take: Take
    point: tuple[float, float, float] | None
    rates: dict[str, float]
    truth: Rig

    @property
    def tapped(self) -> bool:
        """Whether there is no move."""
        return not self.shot.prop[0].move


def planted(kind: str, seed: int, folder: Path) -> Planted:
    """One take; keys of a move go to `folder`."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    while True:
        made = _try(kind, rng, folder)
        if made is not None:
            return made


def shares(cases, folder: Path) -> tuple[float, float, float]:
    """How often the planted fault comes first, and in the first three, and the mean chance of what comes first."""
    first = three = 0
    said = []
    for kind, seed in cases:
        made = planted(kind, seed, folder)
        result = explain(made.take, shot=made.shot, point=made.point, rates=made.rates, tap=made.tapped)
        names = [cause.id for cause in result.causes]
        if kind == "as-described":  # any mode of the rig says so
            modes = [name.startswith("mode-") or name == "hanging-swing" for name in names]
            hits = modes
            said.append(
                sum(c.chance for c, mode in zip(result.causes, modes, strict=True) if mode == modes[0])
            )
        else:
            hits = [name == kind for name in names]
            said.append(result.causes[0].chance if names else 0.0)
        first += any(hits[:1])
        three += any(hits[:3])
    return first / len(cases), three / len(cases), float(np.mean(said))


def _try(kind: str, rng: np.random.Generator, folder: Path) -> Planted | None:
    turning = kind == "roll-runout"
    keyed = kind == "keyframes"
    rate = 120.0
    shot, size = rig(rng, move=_moves(kind, rng, folder), folder=folder, rate=rate)
    prop = shot.prop[0]
    reading = read_prop(shot, prop)
    task, unsure = reading.task, uncertain(shot, prop)
    # Every mode that moves the prop: a tap rings those too that no move does.
    task = replace(task, settings=replace(task.settings, least_share=0.0, modes=3 * MODES))
    base = task.evaluate()
    if not base.solved[0] or not 3.0 < base.natural_frequency[0, 0] < 25.0 or base.large[0]:
        return None
    truth = varied(task, unsure, rng.normal(size=(1, unsure.count)))
    value: float | str = 0.0
    if kind in RIG_FAULTS:
        fault = next((one for one in faults_of(shot, prop, reading) if one.id == kind), None)
        if fault is None:
            return None
        chosen = float(rng.choice(fault.values, p=fault.prior))
        if not fault.names:
            chosen *= float(np.exp(rng.uniform(-0.05, 0.05)))
        truth = fault.apply(truth, np.array([chosen]))
        value = fault.names[int(chosen)] if fault.names else chosen
    outcome = evaluate(truth, task.settings)
    if not outcome.solved[0] or outcome.large[0]:
        return None
    damping = float(np.exp(rng.normal(np.log(0.003), 0.5)))
    if kind in ("clamp-softer", "joint-flexing"):
        damping *= 1.5
    tapped = kind in ("as-described", *RIG_FAULTS)
    point = np.array(POINT) * size
    times = np.arange(round(9.0 * rate)) / rate
    view = task.eye.jacobian
    rates: dict[str, float] = {}
    background = None
    if tapped:
        track, sizes = tap(outcome, view, times, damping, point, size, rng)
        if kind in RIG_FAULTS and not _matters(task, unsure, base, outcome, sizes):
            return None
    elif kind == "clamp-play":
        track = play(outcome, view, times, rng)
    elif kind == "air":
        track = draught(outcome, view, times, damping, rng)
    else:
        delay = float(rng.uniform(0.1, 0.6))
        track = intended(task.travels, times - delay, truth.centre_of_mass[0], view)
        if not turning and not keyed:
            track = track + ringing(task, outcome, view, times - delay, damping)
        first = float(task.travels[0].start[0])
        last = float(task.travels[0].stop[0])
        moving = (times - delay >= first) & (times - delay <= last)
        if kind == "roll-runout":
            order = int(rng.integers(1, 3))
            angle = task.travels[0].law(0, times - delay)[0] * order + rng.uniform(0, 6)
            track = track + rng.uniform(1.0, 4.0) * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        elif kind == "drive-rate":
            rates = {"belt": float(rng.uniform(9.0, 40.0))}
            phase = 2 * np.pi * rates["belt"] * times
            shake = rng.uniform(1.0, 3.0) * np.stack([np.cos(phase), 0.3 * np.sin(phase)], axis=1)
            track = track + shake * moving[:, None]
        elif kind == "keyframes":
            keys = task.travels[0].keys
            # A controller that joins the keys by straight lines.
            straight = np.interp(times - delay, keys.times, keys.displacement)
            smooth = keys.at(times - delay)[0]
            way = view @ np.array(task.travels[0].direction)
            track = track + (straight - smooth)[:, None] * way
        elif kind == "camera":
            background, track = camera_shake(track, times, rng)
    track = track + rng.normal(0.0, NOISE, track.shape)
    track[:, 1] *= -1.0
    return Planted(
        kind=kind,
        value=value,
        shot=shot,
        take=Take(
            times=times,
            positions=track,
            unit="px",
            background=background,
            dropped=0,
            frame_rate=rate,
            source=f"{kind} take",
        ),
        point=tuple(float(part) for part in point) if tapped else None,
        rates=rates,
        truth=truth,
    )


def _matters(task, unsure, base, outcome, sizes) -> bool:
    """Whether one of the first five frequencies that show in the take is off by more than the ranges leave open."""
    deviates = np.concatenate([np.eye(unsure.count), -np.eye(unsure.count)])
    spread = np.log(evaluate(varied(task, unsure, deviates), task.settings).natural_frequency[:, :5])
    half = unsure.count
    sigma = np.sqrt((((spread[:half] - spread[half:]) / 2) ** 2).sum(axis=0) + 0.01**2)
    off = np.log(outcome.natural_frequency[0, :5] / base.natural_frequency[0, :5])
    return bool(((np.abs(off) > MATTERS * sigma) & (sizes[:5] > SHOWS * NOISE)).any())


def _moves(kind: str, rng: np.random.Generator, folder: Path) -> str:
    if kind == "roll-runout":
        turns = float(rng.uniform(2.5, 6.0))
        return (
            f'[[prop.move]]\nroll = "{360 * turns:.1f} deg"\nabout = "toward"\nduration = "4 s"\n'
            'profile = "s-curve"\n'
        )
    if kind == "keyframes":
        rate = float(rng.choice([8.0, 10.0, 12.5, 15.0]))
        times = np.arange(0.0, 4.0 + 0.5 / rate, 1.0 / rate)
        unit = times / times[-1]
        path = 180.0 * (10 * unit**3 - 15 * unit**4 + 6 * unit**5)
        name = f"keys-{rng.integers(1 << 30)}.csv"
        rows = "".join(f"{at:.6f},{value:.6f}\n" for at, value in zip(times, path, strict=True))
        (folder / name).write_text("time_s,value\n" + rows)
        return f'[[prop.move]]\nslide = "mm"\nalong = "right"\nkeys = "{name}"\n'
    if kind in ("camera", "drive-rate"):
        return '[[prop.move]]\nslide = "150 mm"\nalong = "right"\nduration = "3 s"\nprofile = "cycloidal"\n'
    return ""


STOCK = (
    ("music-wire", (2.0, 2.5, 3.0, 3.5, 4.0)),
    ("stainless-304-spring", (2.5, 3.0, 4.0, 5.0)),
    ("carbon-rod", (3.0, 4.0, 5.0, 6.0)),
    ("aluminium-5356", (2.0, 3.0, 4.0)),
)


def rig(rng: np.random.Generator, *, move: str, folder: Path, rate: float) -> tuple[Shot, np.ndarray]:
    """A rig as its file describes it, and the prop's size [m]."""
    material, sizes = STOCK[int(rng.integers(len(STOCK)))]
    diameter = float(rng.choice(sizes))
    length = float(rng.uniform(90.0, 240.0))
    size = rng.uniform(35.0, 110.0, 3)
    mass = float(np.exp(rng.uniform(np.log(20.0), np.log(400.0))))
    clamp = str(rng.choice(["collet", "two-set-screws"]))
    side = str(rng.choice(["behind", "left", "below", "above"]))
    outward = {"behind": (0, 0, 1), "left": (1, 0, 0), "below": (0, 1, 0), "above": (0, -1, 0)}[side]
    centre = np.array(outward) * float(rng.uniform(0.0, 0.2)) * size
    text = f"""
[camera]
field_width = "420 mm"
image_width = 3840
frame_rate = "{rate} fps"
[[prop]]
name = "desk piece"
mass = "{mass:.4g} g"
shape = "box"
size = ["{size[0]:.4g} mm", "{size[1]:.4g} mm", "{size[2]:.4g} mm"]
centre_of_mass = ["{centre[0]:.4g} mm", "{centre[1]:.4g} mm", "{centre[2]:.4g} mm"]
[[prop.support]]
material = "{material}"
diameter = "{diameter} mm"
length = "{length:.4g} mm"
from = "{side}"
clamp = "{clamp}"
{move}
"""
    return rig_from_text(text, folder=folder), size * 1e-3


def tap(outcome, view, times, damping, point, size, rng) -> tuple[np.ndarray, np.ndarray]:
    """Ringing after a finger's tap somewhere on the prop, in any direction, of the followed point, and how much of it
    is each mode's [px]."""
    dynamics = outcome.dynamics
    at = rng.uniform(-0.5, 0.5, 3) * size
    way = rng.normal(size=3)
    way /= np.linalg.norm(way)
    shift, turn = dynamics.shape[0, :3, :MODES], dynamics.shape[0, 3:, :MODES]
    struck = way @ (shift + np.cross(turn, at[:, None], axis=0))
    shown = view @ (shift + np.cross(turn, point[:, None], axis=0))
    omega = dynamics.angular_frequency[0, :MODES]
    begin = 0.4
    since = np.maximum(times - begin, 0.0)
    damped = omega * np.sqrt(1 - damping**2)
    modal = (
        struck[:, None]
        / omega[:, None]
        * np.exp(-damping * omega[:, None] * since)
        * np.sin(damped[:, None] * since)
        * (times >= begin)
    )
    track = (shown @ modal).T
    scale = rng.uniform(5.0, 15.0) / np.abs(track).max()
    return track * scale, scale * np.abs(struck / omega) * np.linalg.norm(shown, axis=0)


def ringing(task, outcome, view, times, damping) -> np.ndarray:
    """What the planned slide leaves swinging, and the lag on its way, of the centre of mass [px]."""
    dynamics, travel = outcome.dynamics, task.travels[0]
    omega = dynamics.angular_frequency[0]
    drive = dynamics.participation[0, :, :3] @ np.array(travel.direction) * float(travel.stroke[0])
    modal = drive[:, None] * unit_displacement(
        travel.profile,
        duration=float(travel.duration[0]),
        angular_frequency=omega,
        damping_ratio=np.full_like(omega, damping),
        times=times - float(travel.start[0]),
    )
    return (view @ (dynamics.shape[0, :3] @ modal)).T


def play(outcome, view, times, rng) -> np.ndarray:
    """The lowest sway with a gap: no force within it, the full one beyond (integrated in small steps)."""
    motion = view @ outcome.dynamics.shape[0, :3, :2]
    way = motion[:, int(np.linalg.norm(motion, axis=0).argmax())]
    way = way / np.linalg.norm(way)
    omega = float(outcome.dynamics.angular_frequency[0, 0])
    gap, start = float(rng.uniform(0.4, 1.2)), float(rng.uniform(8.0, 14.0))
    damping = float(np.exp(rng.normal(np.log(0.008), 0.3)))
    return dead_zone(times, omega, gap=gap, start=start, damping=damping)[:, None] * way


def dead_zone(times, omega, *, gap, start, damping) -> np.ndarray:
    """Free swing of a mass on a spring with a gap to either side (semi-implicit Euler, 1/200 of a frame)."""
    steps = 200
    step = float(times[1] - times[0]) / steps
    place, speed, result = start, 0.0, np.zeros(len(times))
    for index in range(len(times)):
        result[index] = place
        for _ in range(steps):
            push = max(abs(place) - gap, 0.0) * np.sign(place)
            speed -= step * (omega**2 * push + 2 * damping * omega * speed)
            place += step * speed
    return result


def draught(outcome, view, times, damping, rng) -> np.ndarray:
    """The lowest sways kept going by gusts: white noise through each mode, long since begun."""
    dynamics = outcome.dynamics
    shown = view @ dynamics.shape[0, :3, :2]
    omega = dynamics.angular_frequency[0, :2]
    step = float(times[1] - times[0])
    track = np.zeros((len(times), 2))
    for mode in range(2):
        pole = np.exp((-damping + 1j * np.sqrt(1 - damping**2)) * omega[mode] * step)
        state = 0.0 + 0.0j
        ahead = int(5.0 / (damping * omega[mode] * step))
        kicks = rng.normal(size=(ahead + len(times), 2)) @ np.array([1.0, 1.0j])
        values = np.zeros(len(times))
        for index, kick in enumerate(kicks):
            state = pole * state + kick
            if index >= ahead:
                values[index - ahead] = state.real
        track += values[:, None] * shown[:, mode]
    return track * (rng.uniform(1.5, 4.0) / np.abs(track).max())


def camera_shake(track, times, rng) -> tuple[np.ndarray, np.ndarray]:
    """A stand that rings after the move, seen in a fixed point too."""
    begin = 3.2
    since = np.maximum(times - begin, 0.0)
    frequency, damping = float(rng.uniform(2.0, 12.0)), float(rng.uniform(0.01, 0.04))
    wave = np.exp(-damping * 2 * np.pi * frequency * since) * np.sin(2 * np.pi * frequency * since)
    shake = rng.uniform(2.0, 6.0) * wave[:, None] * np.array([1.0, rng.uniform(-0.6, 0.6)])
    still = shake + rng.normal(0.0, 0.1, shake.shape) + np.array([200.0, 300.0])
    return still * np.array([1.0, -1.0]), track + shake
