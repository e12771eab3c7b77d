"""Movement toward the lens counts as the outline's growth: against the outline projected point by point."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.history import response_history
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.retime.study import retime

RIG = """
[camera]
distance = "0.8 m"
focal_length = "50 mm"
sensor_width = "36 mm"
image_width = 3840
frame_rate = "50 fps"
[[prop]]
name = "inkwell"
mass = "310 g"
shape = "{shape}"
size = ["60 mm", "40 mm", "30 mm"]
mark = {mark}
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 mm"
from = "below"
[[prop.move]]
slide = "150 mm"
along = {along}
duration = "0.9 s"
profile = "harmonic"
"""
CENTRE = '["0 mm", "0 mm", "0 mm"]'
ASIDE = '["120 mm", "60 mm", "0 mm"]'


def shot_with(shape: str = "box", mark: str = CENTRE, along: str = '"toward"'):
    return rig_from_text(RIG.format(shape=shape, mark=mark, along=along))


def outline(shape: str) -> np.ndarray:
    """Points of the solid's outline across the view, in its middle plane [m]."""
    if shape == "box":
        return 0.5 * np.array([[x, y, 0.0] for x in (-0.06, 0.06) for y in (-0.04, 0.04)])
    turn = np.linspace(0, 2 * np.pi, 720)
    return 0.5 * np.stack([0.06 * np.cos(turn), 0.04 * np.sin(turn), np.zeros(720)], axis=1)


@pytest.mark.parametrize("shape", ["box", "sphere"])
@pytest.mark.parametrize("mark", [CENTRE, ASIDE])
def test_depth_wobble_is_that_of_the_farthest_point_of_the_outline(shape, mark):
    shot = shot_with(shape, mark)
    motion = check(shot).props[0].motion
    found = response_history(shot)
    lowest = check(shot).props[0].modes[0].frequency.m_as("Hz")
    rings = (found.time_s >= found.end_s) & (found.time_s <= found.end_s + 2 / lowest)
    path = 1e-3 * found.displacement_mm[rings]
    camera = read_prop(shot, shot.prop[0]).task.eye.camera
    place = np.array([0.12, 0.06, 0.0]) if mark == ASIDE else np.zeros(3)
    seen = camera.project(place + outline(shape)[:, None] + path[None])
    far = np.linalg.norm(seen[:, :, None] - seen[:, None], axis=-1).max()
    # Beside the samples of the path: second order in depth movement over distance, here 0.3 %.
    assert motion.residual_wobble_px == pytest.approx(far, rel=0.01)
    assert motion.residual_wobble_px > 0.5


def test_movement_across_the_picture_is_that_of_the_middle():
    shot = shot_with(along='"right"')
    motion = check(shot).props[0].motion
    per_mm = 3840 / (36 / 50 * 800)
    assert motion.residual_wobble_px == pytest.approx(motion.residual_wobble.m_as("mm") * per_mm, rel=1e-6)


def test_details_call_it_toward_and_away():
    details = {figure.label: figure for figure in check(shot_with()).props[0].details}
    assert "toward-away" in details["wobble in the picture"].value
    assert "farthest point of its outline" in details["wobble in the picture"].note


def test_without_a_size_it_says_what_is_left_out():
    text = RIG.format(shape="box", mark=CENTRE, along='"toward"')
    text = "\n".join(line for line in text.splitlines() if not line.startswith(("size", "shape")))
    prop = check(rig_from_text(text)).props[0]
    assert prop.motion.residual_wobble_px == pytest.approx(0.0, abs=1e-6)
    assert any("outline grows" in said for said in prop.assumptions)


def test_retime_reads_the_same_wobble():
    shot = shot_with(mark=ASIDE, along="[1, 0, 3]")
    found = retime(shot).props[0]
    assert found.plan.wobble == pytest.approx(check(shot).props[0].motion.residual_wobble_px, rel=1e-9)
    sure = next(row.sure for row in found.profiles if row.planned)
    assert sure.wobble_off <= found.limit
    assert sure.wobble <= sure.wobble_off
