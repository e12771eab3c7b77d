"""What straight lines between keys add, against impulses at the keys and against the kinematics of the chain."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.motion.moving_frame import Carrier, frame_field
from rigcheck.studies.keyed_shake import keyed_shake
from rigcheck.studies.reading.prop import read_prop

RIG = """
[camera]
field_width = "420 mm"
image_width = 3840
[[prop]]
name = "inkwell"
mass = "310 g"
shape = "box"
size = ["50 mm", "40 mm", "60 mm"]
centre_of_mass = ["6 mm", "-4 mm", "12 mm"]
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 mm"
"""
KEYED_ROLL = '[[prop.move]]\nroll = "deg"\nabout = {about}\nkeys = "keys.csv"\n'
KEYED_SLIDE = '[[prop.move]]\nslide = "mm"\nalong = {along}\nkeys = "keys.csv"\n'
ROLL = '[[prop.move]]\nroll = "70 deg"\nabout = "up"\nduration = "2 s"\nprofile = "cycloidal"\n'


def read(folder, moves: str, *, count: int = 41, size: float = 60.0):
    share = np.linspace(0.0, 1.0, count)
    # Uneven keys, as they come from a hand-drawn curve.
    share = share + 0.4 / count * np.sin(2 * np.pi * share * 3) * (share * (1 - share) * 4)
    values = size * (share - np.sin(2 * np.pi * share) / (2 * np.pi))
    rows = [f"{2 * time:.9f},{value:.9f}" for time, value in zip(share, values, strict=True)]
    (folder / "keys.csv").write_text("time_s,value\n" + "\n".join(rows) + "\n", encoding="utf-8")
    shot = rig_from_text(RIG + moves, "test", folder=folder)
    reading = read_prop(shot, shot.prop[0])
    return reading, reading.task.evaluate()


def kinematics(reading, number: int, times, centre):
    """Field of a unit acceleration of one move, and where a unit of it takes the centre, from the chain itself."""

    def chain(change: float, step: float):
        found = []
        for index, travel in enumerate(reading.task.travels):
            still = index == number

            def law(at, travel=travel, still=still):
                if not still:
                    return travel.law(0, at)[0], np.zeros_like(at), np.zeros_like(at)
                zero = np.zeros_like(at)
                return zero + step, zero, zero + change

            through = None if travel.through is None else travel.through[0]
            found.append(
                Carrier(rolls=travel.rolls, direction=np.array(travel.direction), through=through, law=law)
            )
        return frame_field(found, times, gravity=np.zeros(3))

    at = chain(1.0, 0.0)
    field = np.concatenate([at.offset, at.gradient.reshape(-1, 9)], axis=1)
    ahead, behind = chain(0.0, 1e-4), chain(0.0, -1e-4)
    place = [one.position + one.rotation @ centre for one in (ahead, behind)]
    way = (at.rotation.transpose(0, 2, 1) @ ((place[0] - place[1]) / 2e-4)[:, :, None])[:, :, 0]
    return field, way


@pytest.mark.parametrize(
    ("moves", "number", "size"),
    [
        (KEYED_SLIDE.format(along='"up"'), 0, 120.0),
        (KEYED_ROLL.format(about='"toward"'), 0, 60.0),
        (KEYED_ROLL.format(about="[1, 2, 2]"), 0, 60.0),
        (KEYED_SLIDE.format(along='"right"') + ROLL, 0, 120.0),
        (KEYED_ROLL.format(about='"right"') + ROLL, 0, 60.0),
        (ROLL + KEYED_ROLL.format(about='"right"'), 1, 60.0),
    ],
)
def test_it_is_what_jumps_of_velocity_at_the_keys_do(tmp_path, moves, number, size):
    """Each key joined by straight lines is a jump of velocity: free vibrations, added up and seen off the spline."""
    reading, still = read(tmp_path, moves, size=size)
    found = keyed_shake(reading, still, number)
    keys = reading.task.travels[number].keys
    centre = still.rig.centre_of_mass[0] + still.displacement[0]
    fine = np.linspace(keys.times[0], keys.times[-1], 4001)
    dynamics, zeta = still.dynamics, float(still.rig.damping_ratio[0])
    shape = dynamics.shape[0, :3]
    field, way = kinematics(reading, number, fine, centre)
    drive = dynamics.participation[0, :, : field.shape[1]] @ field[:, : dynamics.participation.shape[2]].T
    slope = np.concatenate([[0.0], np.diff(keys.displacement) / np.diff(keys.times), [0.0]])
    at_keys = np.stack([np.interp(keys.times, fine, row) for row in drive])
    jumps = at_keys * np.diff(slope)
    path = way.T * (np.interp(fine, keys.times, keys.displacement) - keys.at(fine)[0])
    step = fine[1] - fine[0]
    for mode, omega in enumerate(dynamics.angular_frequency[0]):
        if (
            omega > 2 * np.pi * 150
        ):  # faster ones neither ring nor lag by what shows, and these samples miss them
            continue
        damped = omega * np.sqrt(1 - zeta**2)
        late = fine[:, None] - keys.times[None]
        rings = np.where(late > 0, np.exp(-zeta * omega * late) * np.sin(damped * late) / damped, 0.0)
        joined = rings @ jumps[mode]
        push = drive[mode] * keys.at(fine)[2]
        kernel = np.exp(-zeta * omega * step * np.arange(fine.size)) * np.sin(
            damped * step * np.arange(fine.size)
        )
        smooth = np.convolve(push, kernel)[: fine.size] * step / damped
        path += shape[:, [mode]] * (joined - smooth)
    wanted = np.linalg.norm(path[:, ::8, None] - path[:, None, ::8], axis=0).max()
    # The damping on the right side, the error between eight samples and the turn of the chain: a few per cent.
    assert found.extent == pytest.approx(wanted, rel=0.04)
    assert found.extent_px == pytest.approx(found.extent * 3840 / 0.42, rel=0.5)


def test_twice_the_keys_shake_far_less(tmp_path):
    sizes = [
        keyed_shake(*read(tmp_path, KEYED_ROLL.format(about='"right"'), count=count), 0).extent
        for count in (101, 201)
    ]
    assert sizes[1] < 0.3 * sizes[0]
