"""A rendered video of a prop on a rod whose clamp is softer than said: followed and explained, end to end."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from rendered_takes import RenderedTake, encode

from rigcheck.cli import commands
from rigcheck.files import read_rig
from rigcheck.files.takes import read_take
from rigcheck.motion.response import unit_displacement
from rigcheck.studies.evaluate import evaluate
from rigcheck.studies.explain.faults import faults_of
from rigcheck.studies.explain.seen import intended
from rigcheck.studies.reading.prop import read_prop

RIG = """
[camera]
field_width = "160 mm"
image_width = 480
frame_rate = "50 fps"

[[prop]]
name = "notebook"
mass = "120 g"
mark = ["0 mm", "0 mm", "0 mm"]
size = ["50 mm", "34 mm", "6 mm"]

[[prop.support]]
material = "carbon-rod"
diameter = "4 mm"
length = "210 mm"
clamp = "collet"

[[prop.move]]
slide = "70 mm"
along = "left"
duration = "0.9 s"
profile = "trapezoidal"
"""
SOFTER = 8.0  # diameters of free length that the clamp acts like; a collet is worth 1
DAMPING_RATIO = 0.006
LATE = 0.2  # s that the camera runs before the move
FRAMES = 300
WIDTH, HEIGHT = 480, 180


@pytest.fixture(scope="module")
def filmed(tmp_path_factory):
    """The rig file, the video, the true way of the prop in the picture and the frequency that it rings at."""
    folder = tmp_path_factory.mktemp("filmed")
    rig = folder / "notebook.toml"
    rig.write_text(RIG)
    shot = read_rig(rig)
    reading = read_prop(shot, shot.prop[0])
    task = reading.task
    clamp = next(fault for fault in faults_of(shot, shot.prop[0], reading) if fault.id == "clamp-softer")
    outcome = evaluate(clamp.apply(task.rig, np.array([SOFTER])), task.settings)
    view, travel, dynamics = task.eye.jacobian, task.travels[0], outcome.dynamics
    omega = dynamics.angular_frequency[0]
    drive = dynamics.participation[0, :, :3] @ np.array(travel.direction) * float(travel.stroke[0])

    def way(times):
        modal = drive[:, None] * unit_displacement(
            travel.profile,
            duration=float(travel.duration[0]),
            angular_frequency=omega,
            damping_ratio=np.full_like(omega, DAMPING_RATIO),
            times=times - LATE,
        )
        path = intended(task.travels, times - LATE, outcome.rig.centre_of_mass[0], view)
        track = path + (view @ (dynamics.shape[0, :3] @ modal)).T
        return np.column_stack([132.0 + track[:, 0], 90.0 - track[:, 1], np.zeros(len(times))])

    take = RenderedTake(
        way=way,
        frames=FRAMES,
        rate=50.0,
        width=WIDTH,
        height=HEIGHT,
        prop=(150.0, 102.0),
        grain=2.0,
        waves=32,
    )
    path = encode(take.pictures(), folder / "take.avi", rate=25.0, codec="MJPG")  # plays at half speed
    seen = np.abs(view[0] @ dynamics.shape[0, :3] * drive)
    return rig, path, take, float(omega[np.argmax(seen / omega**2)]) / (2.0 * np.pi)


def run(*arguments):
    result = CliRunner().invoke(commands, [str(one) for one in arguments], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result


def test_a_video_is_followed_and_explained_end_to_end(filmed):
    rig, path, take, frequency = filmed
    track, marks = path.parent / "track.csv", path.parent / "marks.png"
    result = run("explain", path, "--rig", rig, "--track-to", track, "--marks", marks, "--json")
    said = json.loads(result.stdout)

    followed = read_take(track)
    x, y = (
        float(one) for one in track.read_text().splitlines()[0].split("point ")[1].split(";")[0].split(",")
    )
    error = followed.positions - take.truth((x, y))
    assert np.sqrt((error**2).mean()) < 0.1
    assert followed.dropped == 0
    assert followed.frame_rate == pytest.approx(50.0)

    first = said["components"][0]
    assert first["frequency_Hz"] == pytest.approx(frequency, rel=0.005)
    assert first["damping_ratio"] == pytest.approx(DAMPING_RATIO, rel=0.15)
    assert "clamp-softer" in [cause["id"] for cause in said["causes"]][:3]
    assert any(
        "camera.frame_rate of the rig file says; the file plays at 25" in note for note in said["notes"]
    )
    assert "Points that move" in result.stderr
    assert f"Written: {track}" in result.stderr
    assert marks.read_bytes().startswith(b"\x89PNG")

    # The track written says the same as the video did.
    again = json.loads(run("explain", track, "--rig", rig, "--json").stdout)
    assert again["components"][0]["frequency_Hz"] == pytest.approx(first["frequency_Hz"], rel=1e-4)


def test_points_are_chosen_by_number_or_place_and_nothing_is_overwritten(filmed):
    _, path, _, _ = filmed
    there = path.parent / "there.csv"
    there.write_text("mine")
    runner = CliRunner()
    for arguments, says in [
        (["--track-to", there], "there.csv is there already"),
        (["--marks", path.parent / "nowhere" / "m.png"], "the folder"),
        (["--follow", "99"], "--follow = 99: is no point that was proposed"),
        (["--follow", "12;b"], "--follow = 12;b: is not a place in the picture"),
        (["--follow", "200,100", "--still", "x"], "--still = x: is not a place"),
        (["--follow", "200,100", "--still", "none", "--square", "9"], "square: given 9"),
    ]:
        result = runner.invoke(commands, ["explain", str(path), *map(str, arguments)])
        assert result.exit_code != 0
        assert says in str(result.exception)
    assert there.read_text() == "mine"


def test_the_flags_of_a_video_beside_a_table_are_refused(tmp_path):
    result = CliRunner().invoke(commands, ["explain", str(tmp_path / "take.csv"), "--follow", "1,2"])
    assert result.exit_code == 2
    assert "--follow belongs to a take that is a video" in result.stderr


def test_a_bad_video_ends_in_one_message(tmp_path):
    path = Path(tmp_path / "take.mp4")
    path.write_text("not a video")
    result = CliRunner().invoke(commands, ["explain", str(path)])
    assert "is text, not a video" in str(result.exception)
