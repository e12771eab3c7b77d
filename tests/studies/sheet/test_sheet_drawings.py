"""Drawings to scale: their coordinates against closed forms and a hand projection, not against the program itself."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.sheet.shape import settled_curves
from rigcheck.studies.sheet.study import pictures
from rigcheck.studies.work import work_on, works_for
from tests.support.sheet_rigs import hard, plain

GRAVITY = 9.80665


def states(text: str):
    shot = rig_from_text(text)
    for prop in shot.prop:
        work = work_on(shot, prop)
        yield prop, work.reading, work.still


def test_the_settled_curve_is_the_cantilever_of_the_beam_tables():
    # Point load P at the end of a built-in beam: y(x) = P x^2 (3 L - x) / (6 E I). Gere and Goodno, Mechanics of
    # Materials, Table H-1, case 4 (from memory, a standard result). Shear off, weightless wire.
    head = '[analysis]\nshear = false\ndisplacement = "linear"\ngravity_stiffness = false\n'
    ((_, _, still),) = states(plain(head=head))
    (curve,) = settled_curves(still)
    inertia = np.pi * 0.004**4 / 64
    x = curve.along
    expected = 0.1 * GRAVITY * x**2 * (3 * 0.2 - x) / (6 * 200e9 * inertia)
    # 1e-5: the wire's own 1 kg/m3 adds 2.5e-5 of the load, spread out.
    assert np.allclose(curve.unloaded[:, 1] - curve.settled[:, 1], expected, rtol=2e-5, atol=1e-12)
    assert np.allclose(curve.unloaded[:, 2], x - 0.2, atol=1e-12)


YIELDS_NEAR = plain(mass="200 g", diameter="3 mm", length="100 mm").replace("500 MPa", "60 MPa")
YIELDS = plain(mass="8 g", diameter="1 mm").replace("500 MPa", "150 MPa")
YIELDS_FAR = plain(mass="20 g", diameter="1 mm", length="300 mm").replace("500 MPa", "500 MPa")


@pytest.mark.parametrize(
    "text", [plain(), plain(mass="2 kg", diameter="2 mm"), hard(), YIELDS_NEAR, YIELDS, YIELDS_FAR]
)
def test_the_curve_ends_where_the_check_says_the_tip_is(text):
    for _, _, still in states(text):
        if not still.solved[0]:
            continue
        curves = settled_curves(still)
        moved = curves[0].settled[-1] - curves[0].unloaded[-1]
        assert np.allclose(moved, still.tip_displacement[0], rtol=1e-6, atol=1e-9)
        for curve in curves:
            assert np.allclose(curve.settled[0], curve.unloaded[0], atol=1e-12)  # roots stay


def test_the_yielding_rigs_are_what_their_names_say():
    for text, large in ((YIELDS_NEAR, False), (YIELDS, True), (YIELDS_FAR, True)):
        for _, _, still in states(text):
            assert np.isfinite(still.yielding).all()
            assert bool(still.large[0]) is large


def test_a_slack_line_is_drawn_straight_to_where_the_prop_took_it():
    line = """
  [[prop.support]]
  material = "nylon-monofilament"
  diameter = "0.3 mm"
  length = "150 mm"
  from = "below"
"""
    for _, _, still in states(plain(side="behind", move=line)):
        assert still.slack[0, 1]
        _, limp = settled_curves(still)
        chord = limp.settled[-1] - limp.settled[0]
        way = limp.settled - limp.settled[0]
        across = np.linalg.norm(np.cross(way, chord), axis=1) / np.linalg.norm(chord)
        assert across.max() < 1e-12
        assert np.allclose(limp.settled[-1] - limp.unloaded[-1], still.tip_displacement[0], atol=1e-9)


def test_the_side_view_is_to_scale_and_its_exaggeration_is_what_it_says():
    (shown,) = pictures(works_for(rig_from_text(plain())))
    side = shown.side
    assert side.seen_from == "left"
    # Seen from the left the lens is on the right: the root, 200 mm behind, is 200 mm to the left of the tip.
    ((root, tip, length),) = side.legs
    assert length == pytest.approx(200.0)
    assert np.allclose(root, [-200.0, 0.0], atol=1e-9)
    assert np.allclose(tip, [0.0, 0.0], atol=1e-9)
    assert np.allclose(side.lens, [1.0, 0.0])
    # The prop, 30 mm high and 20 mm deep, about its centre of mass at the tip.
    low, high = side.unloaded.outline.min(axis=0), side.unloaded.outline.max(axis=0)
    assert np.allclose([low, high], [[-10.0, -15.0], [10.0, 15.0]], atol=1e-9)
    # Sag P L^3 / 3 E I, and shear L P / k G A (k = 0.9 or so: under 0.1 % here); drawn so many times as large.
    sag = 0.1 * GRAVITY * 0.2**3 / (3 * 200e9 * np.pi * 0.004**4 / 64)
    assert side.sag == pytest.approx(1e3 * sag, rel=2e-3)
    drawn = side.unloaded.centre[1] - side.settled.centre[1]
    assert drawn == pytest.approx(side.settled_times * side.sag, rel=1e-9)
    # The wire goes with it: its tip is the centre of mass here, and halfway (3 s^2 - s^3) / 2 = 5 / 16 of it.
    (wire,) = [stroke.points for stroke in side.settled.strokes if stroke.kind == "support"]
    assert -wire[-1, 1] == pytest.approx(drawn, rel=1e-6)
    assert -np.interp(-100.0, wire[:, 0], wire[:, 1]) == pytest.approx(5 / 16 * drawn, rel=5e-3)
    assert side.settled_times in {1, 2, 5, 10, 20, 50, 100, 200, 500, 1000}
    (mark,) = side.clamps
    assert (mark.grip, mark.given) == (pytest.approx(20.0), True)
    assert np.allclose(mark.back, [-1.0, 0.0])
    embed = next(stroke for stroke in side.unloaded.strokes if stroke.kind == "embed")
    assert np.allclose(embed.points, [[0.0, 0.0], [10.0, 0.0]], atol=1e-9)


def test_the_view_turns_to_the_front_where_supports_run_across():
    (shown,) = pictures(works_for(rig_from_text(plain(side="left"))))
    assert shown.side.seen_from == "front"
    ((root, tip, _),) = shown.side.legs
    assert np.allclose([root, tip], [[-200.0, 0.0], [0.0, 0.0]], atol=1e-9)


CAMERA = """
[camera]
distance = "1.2 m"
focal_length = "60 mm"
sensor_width = "36 mm"
image_width = 3600
"""


def test_the_lens_view_is_the_pinhole_projection_worked_by_hand():
    mark = 'mark = ["300 mm", "-45 mm", "0 mm"]'
    (shown,) = pictures(works_for(rig_from_text(plain(head=CAMERA, more=mark, diameter="8 mm"))))
    lens = shown.lens
    # Field 36 * 1200 / 60 = 720 mm over 3600 px: a pixel spans 0.2 mm at the prop. Pinhole: X' = X d / (d - Z).
    assert lens.pixel == pytest.approx(0.2)
    assert lens.frame == (pytest.approx(-360.0), pytest.approx(360.0))
    assert np.allclose(lens.centre, [300.0, -45.0], atol=1e-9)
    # The face of the box nearer to the lens, 10 mm before the mark, is the wider one. It leans by the turn of
    # the tip, P L^2 / 2 E I, which moves its corners by less than 0.1 mm here.
    grown = 1200 / (1200 - 10)
    assert lens.outline[:, 0].max() == pytest.approx((300 + 20) * grown, abs=0.1)
    assert lens.outline[:, 1].min() == pytest.approx((-45 - 15) * grown, abs=0.1)
    # Off the axis of the lens the wire behind comes out beside the prop: its root, 200 mm back, at d / (d + 200).
    root = next(stroke for stroke in lens.shown if stroke.kind == "support").points[0]
    assert np.allclose(root, [300 * 1200 / 1400, -45 * 1200 / 1400], atol=0.1)


def test_what_the_prop_hides_is_told_apart():
    (shown,) = pictures(works_for(rig_from_text(plain(head=CAMERA))))
    assert not shown.lens.shown  # straight behind, on the axis
    assert shown.lens.hidden
    (shown,) = pictures(works_for(rig_from_text(plain(head=CAMERA, side="above"))))
    above = np.concatenate([stroke.points for stroke in shown.lens.shown])
    inside = np.concatenate([stroke.points for stroke in shown.lens.hidden])
    # The prop's top is 15 mm above its middle, where the wire ends: what shows begins there.
    assert above[:, 1].min() == pytest.approx(15.0, abs=1.5)
    assert inside[:, 1].max() == pytest.approx(15.0, abs=1.5)


def test_without_a_camera_it_is_seen_level_and_says_so():
    (shown,) = pictures(works_for(rig_from_text(plain())))
    assert (shown.lens.camera, shown.lens.pixel, shown.lens.frame) == (False, None, None)
    assert np.ptp(shown.lens.outline[:, 0]) == pytest.approx(40.0, abs=0.01)


MOVE = """
  [[prop.move]]
  slide = "200 mm"
  along = "up"
  duration = "0.8 s"
"""


def test_the_wobble_is_drawn_between_the_places_farthest_apart():
    text = plain(head=CAMERA, move=MOVE, diameter="3 mm")
    (shown,) = pictures(works_for(rig_from_text(text)))
    one, other = shown.side.swings
    apart = np.linalg.norm(one.centre - other.centre)
    # The check's own residual: the largest distance between any two places in the first two periods.
    ((_, reading, still),) = states(text)
    residual = 1e3 * float(reading.task.move(still).residual[0])
    assert apart == pytest.approx(shown.side.wobble_times * residual, rel=1e-2)
    assert shown.wobble.unit == "px"
    seen = shown.wobble.points
    extent = np.linalg.norm(seen[:, None] - seen, axis=2).max()
    assert extent == pytest.approx(shown.wobble.extent, rel=1e-2)


def test_a_rig_that_finds_no_rest_is_drawn_unloaded_only():
    buckling = plain(mass="5 kg", diameter="1 mm", length="400 mm", side="below")
    (shown,) = pictures(works_for(rig_from_text(buckling)))
    assert shown.side.settled is None
    assert shown.lens is None
    assert shown.history is None
    assert "no rest" in shown.no_history
