"""The page: whole in itself, in order, readable by everybody, and unmoved by what a file may hold."""

from __future__ import annotations

import re
import zlib
from contextlib import suppress
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from rigcheck.files import read_rig, rig_from_text
from rigcheck.studies.sheet.study import sheet
from rigcheck.views.page import COLOURS, CONTRASTS, page_html, page_pdf
from tests.support.sheet_rigs import SCRIPT, TITLE, hard, plain
from tests.test_cli import CHECKOUT

DEMO = CHECKOUT / "shared" / "shots" / "desk-set.toml"
VOID = {"meta", "link", "br", "img", "hr", "input", "col"}


class Reader(HTMLParser):
    """Elements in order with their attributes, the text outside styles, and whether tags close as they opened."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.headings: list[tuple[int, str]] = []
        self.open: list[str] = []
        self.badly_nested: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append((int(tag[1]), ""))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.badly_nested.append(tag)

    def handle_data(self, data):
        if "style" in self.open:
            return
        self.text.append(data)
        if self.open and any(re.fullmatch(r"h[1-6]", tag) for tag in self.open):
            level, words = self.headings[-1]
            self.headings[-1] = (level, words + data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


@pytest.fixture(scope="module")
def demo_html() -> str:
    return page_html(sheet(read_rig(DEMO)))


@pytest.fixture(scope="module")
def odd_html() -> str:
    return page_html(sheet(rig_from_text(hard())))


@pytest.fixture(scope="module", params=["demo", "odd"])
def page(request, demo_html, odd_html) -> tuple[str, Reader]:
    text = demo_html if request.param == "demo" else odd_html
    return text, Reader(text)


# -- whole in itself -------------------------------------------------------------------------------------


def test_it_fetches_nothing_and_runs_nothing(page):
    text, found = page
    names = {name for name, _ in found.elements}
    assert not names & {"script", "link", "img", "iframe", "object", "embed", "base", "form", "image"}
    for _, attributes in found.elements:
        for key, value in attributes.items():
            assert not key.startswith("on"), key
            if key in ("href", "xlink:href", "src"):
                assert value is not None
                assert value.startswith("#"), value
    css = text[text.index("<style>") : text.index("</style>")]
    assert "@import" not in css
    assert "url(" not in css
    assert all(place.startswith("#") for place in re.findall(r"url\(([^)]*)\)", text))


def test_every_inner_link_has_its_place_and_every_id_is_one_of_a_kind(page):
    _, found = page
    ids = [attributes["id"] for _, attributes in found.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    wanted = [
        value[1:]
        for _, attributes in found.elements
        for key, value in attributes.items()
        if key in ("href", "xlink:href") and value
    ]
    wanted += [
        name for _, attributes in found.elements for name in (attributes.get("aria-labelledby") or "").split()
    ]
    assert set(wanted) <= set(ids)


def test_tags_close_as_they_open(page):
    _, found = page
    assert not found.badly_nested
    assert not found.open


def test_the_same_shot_gives_the_same_page(demo_html):
    assert page_html(sheet(read_rig(DEMO))) == demo_html
    assert not re.search(r"\b20\d\d-\d\d-\d\d", demo_html)


# -- in order --------------------------------------------------------------------------------------------


def test_cautions_come_before_everything_else(page):
    _, found = page
    second = [words.strip() for level, words in found.headings if level == 2]
    assert second[0].endswith("Cautions")
    assert second[1] == "Verdict"
    assert second.index("Cut list") < second.index("Order of work")
    assert second[-2:] == ["Assumptions", "Sources"]


def test_headings_go_down_one_step_at_a_time(page):
    _, found = page
    levels = [level for level, _ in found.headings]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_every_caution_is_on_it(demo_html):
    words = " ".join(" ".join(Reader(demo_html).text).split())
    for text, _ in sheet(read_rig(DEMO)).cautions:
        assert text in words


def test_it_holds_what_the_crew_needs(demo_html):
    words = " ".join(" ".join(Reader(demo_html).text).split())
    for wanted in (
        "216 mm",  # 160 free, 30 in the collet, 26 in the inkwell
        "305 mm",
        "along the support",
        "Raise the mount",
        "frame 200",
        "Any one of these",
        "Hang 620 g in all",
        "Do not make this test",
        "Closest approach",
        "Clean up, or rig again?",
        "is a guess; a test take gives the real one",
        "common practice, no source",
        "Scale 1:5 on paper",
        "drawn 10 times as far",
    ):
        assert wanted in words, wanted


# -- for everybody ---------------------------------------------------------------------------------------


def test_language_title_and_viewport_are_told(page):
    text, found = page
    assert found.all("html") == [{"lang": "en"}]
    assert text.startswith("<!doctype html>")
    assert any(one.get("name") == "viewport" for one in found.all("meta"))
    assert "<title>Rig sheet: " in text


def test_every_picture_has_a_name_and_says_what_it_shows(page):
    text, found = page
    pictures = found.all("svg")
    assert len(pictures) > 5
    for attributes in pictures:
        assert attributes.get("role") == "img"
        assert attributes.get("aria-label") or attributes.get("aria-labelledby")
    for shown in re.findall(r"<svg.*?</svg>", text, flags=re.DOTALL):
        if "aria-label=" in shown:
            continue
        title, description = (
            re.search(rf"<{tag} id=[^>]*>(.*?)</{tag}>", shown, flags=re.DOTALL)[1]
            for tag in ("title", "desc")
        )
        assert title.strip()
        assert len(description) > 40


def test_tables_have_captions_and_heads(page):
    text, found = page
    tables = re.findall(r"<table.*?</table>", text, flags=re.DOTALL)
    assert len(tables) > 4
    for table in tables:
        assert "<caption>" in table
        assert 'scope="' in table
    assert all(one.get("scope") in ("col", "row") for one in found.all("th"))


def test_a_verdict_is_a_word_and_a_mark(page):
    text, _ = page
    verdicts = re.findall(
        r'<span class="verdict (\w+)"><span aria-hidden="true">(.)</span> (\w+)</span>', text
    )
    assert len(verdicts) >= 2 * 3 + 1
    assert {(name, mark, word) for name, mark, word in verdicts} <= {
        ("pass", "✓", "PASS"),
        ("caution", "!", "CAUTION"),
        ("fail", "✗", "FAIL"),
    }
    # What tells them apart beside the word is the frame, not a hue: every colour of the page is a grey or the paper.
    for name, value in COLOURS.items():
        red, green, blue = (int(value[at : at + 2], 16) for at in (1, 3, 5))
        assert max(red, green, blue) - min(red, green, blue) <= 20, name


def luminance(colour: str) -> float:
    """Relative luminance, as WCAG 2.1 defines it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    """Contrast ratio, as WCAG 2.1 defines it."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_is_that_of_the_guideline():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # well known as just short of AA


@pytest.mark.parametrize(("text", "background"), CONTRASTS)
def test_all_text_can_be_read(text, background):
    # WCAG 2.1, success criterion 1.4.3: 4.5 to 1 for text of any size.
    assert contrast(COLOURS[text], COLOURS[background]) >= 4.5


def test_lines_and_figures_stand_out_from_the_paper():
    from rigcheck.views import figure_style

    # WCAG 2.1, 1.4.11: 3 to 1 for what has to be seen; text in a figure 4.5 to 1, also on the fill of a prop.
    assert contrast(COLOURS["line"], COLOURS["white"]) >= 3
    for ink in (figure_style.INK, figure_style.GREY, figure_style.ACCENT):
        for ground in ("#ffffff", figure_style.PAPER):
            assert contrast(ink, ground) >= 4.5


def test_the_style_uses_no_other_colour(demo_html):
    css = demo_html[demo_html.index("<style>") : demo_html.index("</style>")]
    assert set(re.findall(r"#[0-9a-fA-F]{3,8}\b", css)) == set(COLOURS.values())
    body = css[css.index("*") :]
    assert not re.search(r"\b(?:red|green|yellow|orange|blue)\b|rgb|hsl", body)


def test_it_prints():
    css = (CHECKOUT / "rigcheck" / "views" / "templates" / "sheet.css").read_text(encoding="utf-8")
    printed = css[css.index("@media print") :]
    assert "break-inside: avoid" in printed
    assert "width: 88mm" in printed  # two pictures beside each other in true size


# -- what a file may hold --------------------------------------------------------------------------------


def test_text_from_the_file_stays_text(odd_html):
    assert "<script" not in odd_html
    assert "<b>" not in odd_html
    assert "{{" in odd_html  # shown, never worked out
    assert ">49<" not in odd_html
    words = "".join(Reader(odd_html).text)
    assert SCRIPT in words
    assert TITLE in words


def test_characters_that_steer_are_shown_and_not_sent():
    result = sheet(rig_from_text(plain()))
    steered = "a\x1b[31mb\u202ec\x00\x9bd"
    check = replace(result.check, title=steered)
    text = page_html(replace(result, check=check))
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text)
    assert r"a\x1b[31mb\u202ec\x00\x9bd" in text


def test_a_shot_that_finds_no_rest_still_has_a_page():
    text = page_html(sheet(rig_from_text(plain(mass="5 kg", diameter="1 mm", length="400 mm", side="below"))))
    found = Reader(text)
    words = " ".join(" ".join(found.text).split())
    assert "finds no rest" in words
    assert "Do not make this test" in words
    assert not found.badly_nested


# -- PDF -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_the_pdf_has_the_size_of_its_paper(demo_html, paper, size):
    pytest.importorskip(
        "weasyprint", exc_type=(ImportError, OSError), reason="the extra pdf is not installed here"
    )
    printed = page_pdf(demo_html, paper=paper)
    assert printed.startswith(b"%PDF-")
    opened = printed
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", printed, flags=re.DOTALL):
        with suppress(zlib.error):
            opened += zlib.decompress(stream)
    boxes = re.findall(rb"/MediaBox \[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", opened)
    assert b"/StructTreeRoot" in opened  # tagged, for reading aloud
    assert page_pdf(demo_html, paper=paper) == printed
    assert boxes
    for box in boxes:
        assert [float(part) for part in box] == pytest.approx(size, abs=0.2)
