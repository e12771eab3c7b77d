"""Figures: true to scale, the same every time, readable without seeing them, and with their caution."""

from __future__ import annotations

import re
import struct
import xml.etree.ElementTree as ET
import zlib

import numpy as np
import pytest

from rigcheck.errors import OutputError
from rigcheck.files import read_rig, rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.choose.study import choose
from rigcheck.studies.explain.study import explain
from rigcheck.studies.retime.study import retime
from rigcheck.studies.sheet.study import pictures, sheet
from rigcheck.studies.work import works_for
from rigcheck.views.figure_rig import draw_side, scale_for, scale_words, side_height
from rigcheck.views.figure_style import Drawing, drawing, figure_bytes, figure_kind, new_figure, svg_for_page
from rigcheck.views.figures import check_figure, choose_figure, explain_figure, retime_figure
from rigcheck.views.page import page_html
from tests.support.sheet_rigs import SCRIPT, hard, plain
from tests.test_cli import CHECKOUT

DEMO = CHECKOUT / "shared" / "shots" / "desk-set.toml"
TAKE = CHECKOUT / "shared" / "takes" / "notebook-take.csv"
SVG = "{http://www.w3.org/2000/svg}"


def of_check() -> Drawing:
    shot = read_rig(DEMO)
    return check_figure(check(shot, prop="notebook"), pictures(works_for(shot, "notebook"), prop="notebook"))


def of_retime() -> Drawing:
    return retime_figure(retime(read_rig(DEMO), prop="notebook"))


def of_choose() -> Drawing:
    stock = rig_from_text(
        plain(
            move='\n  [[prop.support]]\n  material = "music-wire"\n  diameter = "3 mm"\n  length = "200 mm"\n'
        )
    )
    return choose_figure(choose(read_rig(DEMO), prop="paper crane", stock=stock, pareto=True))


def of_explain() -> Drawing:
    return explain_figure(explain(TAKE, shot=read_rig(DEMO), prop="notebook"))


MAKERS = {"check": of_check, "retime": of_retime, "choose": of_choose, "explain": of_explain}


@pytest.fixture(scope="module")
def made() -> dict[str, Drawing]:
    return {name: maker() for name, maker in MAKERS.items()}


@pytest.mark.parametrize("name", MAKERS)
def test_the_same_input_gives_the_same_bytes(made, name):
    for kind in ("svg", "png"):
        assert figure_bytes(made[name], kind) == figure_bytes(made[name], kind)
    text = figure_bytes(made[name], "svg").decode()
    assert "date" not in text.lower()
    assert not re.search(r"20\d\d-\d\d-\d\d", text)
    assert text == figure_bytes(MAKERS["check"]() if name == "check" else made[name], "svg").decode()


@pytest.mark.parametrize("name", MAKERS)
def test_it_says_in_words_what_it_shows_and_carries_its_caution(made, name):
    root = ET.fromstring(figure_bytes(made[name], "svg"))
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    assert title.text == made[name].title
    assert len(description.text) > 80
    assert "Caution: Only for a set with nobody under the prop" in description.text
    shown = " ".join(item.get_text() for item in made[name].figure.texts)
    assert "Caution: Only for a set with nobody" in " ".join(shown.split())


@pytest.mark.parametrize("name", MAKERS)
def test_ids_are_one_of_a_kind_and_every_reference_has_its_place(made, name):
    text = figure_bytes(made[name], "svg").decode()
    ids = re.findall(r'\bid="([^"]*)"', text)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'href="#([^"]*)"', text)) | set(re.findall(r"url\(#([^)]*)\)", text)) <= set(ids)


def chunks(content: bytes) -> dict[str, bytes]:
    """The text chunks of a PNG file, by keyword; PNG specification, 3rd edition, sections 5.3 and 11.3.3."""
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    at, found = 8, {}
    while at < len(content):
        length, kind = struct.unpack(">I4s", content[at : at + 8])
        data = content[at + 8 : at + 8 + length]
        if kind == b"IHDR":
            found["size"] = data[:8]
        if kind == b"tEXt":
            key, _, value = data.partition(b"\0")
            found[key.decode()] = value
        if kind == b"iTXt":
            key, _, rest = data.partition(b"\0")
            packed, rest = rest[0], rest[2:].split(b"\0", 2)[2]
            found[key.decode()] = zlib.decompress(rest) if packed else rest
        at += 12 + length
    return found


def test_a_png_carries_its_words_and_no_program(made):
    found = chunks(figure_bytes(made["check"], "png"))
    assert found["Title"].decode("latin-1") == made["check"].title
    assert "Seen from the left" in found["Description"].decode("latin-1", "replace")
    assert "Software" not in found
    width, _ = struct.unpack(">II", found["size"])
    assert width == round(180 / 25.4 * 200, 0) or abs(width - 180 / 25.4 * 200) <= 1


def test_a_standalone_figure_needs_no_font_of_the_reader(made):
    assert "<text" not in figure_bytes(made["check"], "svg").decode()


def test_letters_that_the_font_lacks_stay_text():
    shot = rig_from_text(plain().replace('"inkwell"', '"墨壺"'))
    text = figure_bytes(check_figure(check(shot), pictures(works_for(shot))), "svg").decode()
    assert "墨壺" in text
    assert ">! CAUTION 墨壺<" in text.replace("  ", " ")


def test_names_are_neither_markup_nor_formulas():
    shot = rig_from_text(hard())
    text = figure_bytes(check_figure(check(shot), pictures(works_for(shot))), "svg").decode()
    assert "<script" not in text
    description = ET.fromstring(text).find(f"{SVG}desc").text
    assert SCRIPT in description  # dollar signs and all


def test_a_dollar_is_a_dollar():
    camera = '[camera]\nfield_width = "420 mm"\nimage_width = 3840\n'
    text = page_html(sheet(rig_from_text(plain(head=camera).replace('"inkwell"', '"$x^2$ ink"'))))
    assert re.search(r"<text[^>]*>\$x\^2\$ ink</text>", text)


# -- to scale --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "room", "scale", "words"),
    [
        ((230.0, 50.0), (70.0, 50.0), 0.2, "1:5"),
        ((70.0, 50.0), (70.0, 50.0), 1.0, "1:1"),
        ((70.01, 50.0), (70.0, 50.0), 0.5, "1:2"),
        ((12.0, 5.0), (70.0, 50.0), 5.0, "5:1"),
        ((3000.0, 10.0), (70.0, 50.0), 0.02, "1:50"),
    ],
)
def test_scales_are_those_of_technical_drawings(size, room, scale, words):
    # ISO 5455: 1:1, 1:2, 1:5, 2:1, 5:1 and their multiples of ten (from memory).
    found = scale_for(np.array([[0.0, 0.0], size]), width_mm=room[0], height_mm=room[1])
    assert found == pytest.approx(scale)
    assert scale_words(found) == words


def test_a_drawing_measured_with_a_ruler_has_the_lengths_it_says():
    (shown,) = pictures(works_for(rig_from_text(plain())))
    with drawing():
        height = side_height(shown.side, width_mm=88, most_mm=90)
        figure = new_figure(width_mm=88, height_mm=height)
        scale = draw_side(figure, shown.side, left=0, bottom=0, width=88, height=height)
    text = svg_for_page(Drawing(figure, "inkwell", "for the ruler"), "r")
    root = ET.fromstring(text.replace("xlink:href", "href"))
    assert root.get("width") == f"{88 * 72 / 25.4:.6g}pt" or float(root.get("width")[:-2]) == pytest.approx(
        88 * 72 / 25.4, abs=1e-3
    )
    paper = []  # horizontal and vertical extents of all straight lines, in mm of paper
    for path in root.iter(f"{SVG}path"):
        numbers = [float(word) for word in re.findall(r"-?\d+\.?\d*", path.get("d") or "")]
        points = np.array(numbers[: len(numbers) // 2 * 2]).reshape(-1, 2) * 25.4 / 72
        if len(points) >= 2:
            paper.append(np.ptp(points, axis=0))
    across = np.array(paper)
    # 200 mm of wire and the bar of 100 mm, at the scale of the drawing.
    assert scale == pytest.approx(0.2)
    for length in (200.0, 100.0):
        assert np.abs(across[:, 0] - length * scale).min() < 0.02, length
    # The unloaded prop is 20 mm deep and 30 mm high.
    assert np.abs(across - np.array([20.0, 30.0]) * scale).sum(axis=1).min() < 0.02


# -- what cannot be drawn --------------------------------------------------------------------------------


def test_the_ending_says_what_it_becomes():
    assert figure_kind("rig.SVG") == "svg"
    assert figure_kind("rig.png") == "png"
    with pytest.raises(OutputError, match=r"rig\.jpg: a figure is written as \.svg or \.png"):
        figure_kind("rig.jpg")


def test_too_many_props_for_one_figure_are_told():
    block = plain().split("[[prop]]")
    many = block[0] + "".join("[[prop]]" + block[1].replace('"inkwell"', f'"inkwell {n}"') for n in range(13))
    shot = rig_from_text(many)
    with pytest.raises(OutputError, match="at most 12 props and the shot has 13"):
        check_figure(check(shot), pictures(works_for(shot)))


def test_drawing_leaves_the_settings_of_others_alone():
    import matplotlib as mpl

    before = mpl.rcParams["font.size"], mpl.rcParams["svg.fonttype"]
    of_check()
    assert (mpl.rcParams["font.size"], mpl.rcParams["svg.fonttype"]) == before
