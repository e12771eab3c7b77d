"""The cut list: its sums, its bends and what it puts together, against sums worked by hand."""

from __future__ import annotations

import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.sheet.cuts import blanks, cuts, sleeve_cuts, stock_needed
from tests.support.sheet_rigs import hard, plain


def lists(text: str):
    shot = rig_from_text(text)
    supports = cuts([(prop, read_prop(shot, prop)) for prop in shot.prop])
    return supports, sleeve_cuts(shot.prop), blanks(shot.prop)


def test_free_grip_and_embed_add_up():
    supports, sleeves, _ = lists(hard())
    first, second, stamp, pencil = supports
    assert first.length_mm == pytest.approx(120 + 60 + 15 + 30)
    assert (second.length_mm, second.known_mm, second.missing) == (None, pytest.approx(90 + 12), ("embed",))
    assert (stamp.what, stamp.missing) == ("4 mm x 1 mm carbon-tube", ("embed",))
    assert pencil.missing == ("grip", "embed")
    (sleeve,) = sleeves
    assert (sleeve.length_mm, sleeve.start_mm) == (pytest.approx(60.0), pytest.approx(10.0))


def test_a_bend_is_where_a_folding_rule_would_put_it():
    (bend,) = lists(hard())[0][0].bends
    # 15 mm in the clamp, 120 mm down, then toward the camera: a right angle.
    assert bend.at_mm == pytest.approx(135.0)
    assert bend.angle_deg == pytest.approx(90.0)
    assert bend.toward == "toward the camera"
    assert bend.twist_deg is None


def test_bends_out_of_one_plane_say_how_far_the_wire_is_turned():
    # Root to tip: toward 50, up 40, then right 30. Between the planes (toward, up) and (up, right) lies a right angle
    # about the middle leg: the normals are toward x up = -right and up x right = -toward, and (-right) x (-toward) is
    # -up, so seen along the leg, which runs up, it is minus 90 degrees (derived here).
    path = '[["-30 mm","-40 mm","-50 mm"],["-30 mm","-40 mm","0 mm"],["-30 mm","0 mm","0 mm"],["0 mm","0 mm","0 mm"]]'
    text = plain().replace('length = "200 mm"\n  from = "behind"', f"path = {path}")
    first, second = lists(text)[0][0].bends
    assert (first.at_mm, second.at_mm) == (pytest.approx(20 + 50), pytest.approx(20 + 90))
    assert (first.angle_deg, second.angle_deg) == (pytest.approx(90), pytest.approx(90))
    assert second.twist_deg == pytest.approx(-90.0)
    assert (first.toward, second.toward) == ("up", "right")


def test_equal_pieces_are_counted_together_and_others_are_not():
    one = plain().split("[[prop]]")
    twin = one[1].replace('"inkwell"', '"second inkwell"')
    other = one[1].replace('"inkwell"', '"third"').replace("200 mm", "201 mm")
    supports, _, _ = lists("[[prop]]".join([one[0], one[1], twin, other]))
    assert [(cut.count, cut.prop) for cut in supports] == [
        (2, ("inkwell", "second inkwell")),
        (1, ("third",)),
    ]
    (stock,) = stock_needed(supports, ())
    assert stock.pieces == 3
    assert stock.total_mm == pytest.approx(2 * 230 + 231)
    assert stock.longest_mm == pytest.approx(231)
    assert not stock.at_least


def test_an_insert_blank_keeps_its_grain():
    insert = '[prop.insert]\nmaterial = "greyboard"\nthickness = "2 mm"\nsize = ["90 mm", "70 mm"]\ngrain = "across"'
    (blank,) = lists(plain(move=insert))[2]
    assert (blank.along_mm, blank.across_mm, blank.grain) == (pytest.approx(90), pytest.approx(70), "across")


def test_a_tied_line_says_that_knots_come_on_top():
    line = """
  [[prop.support]]
  material = "nylon-monofilament"
  diameter = "0.3 mm"
  length = "150 mm"
  from = "above"
"""
    supports, sleeves, _ = lists(plain(side="above", move=line))
    tied = supports[1]
    assert tied.tied
    assert next(one for one in stock_needed(supports, sleeves) if "nylon" in one.what).at_least
