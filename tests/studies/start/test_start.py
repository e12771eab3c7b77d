"""The questions of ``rigcheck start``: every way through them ends in a rig file that says what was answered."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigcheck.files import rig_from_text
from rigcheck.model import Part
from rigcheck.studies.start.questions import AFTER_PROPS, OF_A_PROP, OF_THE_SHOT, Question
from rigcheck.studies.start.study import _PARTS, LONGEST_ANSWER, Interview

EVERY_QUESTION = (*OF_THE_SHOT, *OF_A_PROP, *AFTER_PROPS)

PLAIN = {
    "hazard": "clear",
    "mass": "310 g",
    "overhang": "80 mm",
    "droop": "15 mm",
    "insert_thickness": "2 mm",
    "insert_size": "90 mm, 70 mm",
    "diameter": "3 mm",
    "wall": "0.45 mm",
    "wires": "7",
    "width": "10 mm",
    "thickness": "1.5 mm",
    "length": "180 mm",
    "slide": "220 mm",
    "slide_duration": "4 s",
    "roll": "180 deg",
    "roll_duration": "4 s",
    "field_width": "420 mm",
    "size": "52 x 45 x 52 mm",
}
"""Answers to what has no default, by the question's own name."""


def talk(special: Mapping[str, str] | None = None, **more: str) -> Interview:
    """Go through the whole talk; every answer is taken at once."""
    answers = {**PLAIN, **(special or {}), **more}
    interview = Interview()
    while (asked := interview.next()) is not None:
        text = answers.get(asked.name, answers.get(asked.question.name, ""))
        assert interview.answer(text) == (), asked.name
    return interview


def shot(interview: Interview):
    return rig_from_text(interview.text())


WAYS: dict[str, dict[str, str]] = {
    "shortest": {"size": "", "camera": "no", "moves": "still"},
    "usual": {},
    "soft with a card": {"soft": "yes", "insert": "yes"},
    "soft": {"soft": "y"},
    "tube": {"section": "tube", "material": "brass-c260"},
    "strip": {"section": "strip", "material": "carbon-rod"},
    "strand": {"section": "strand", "material": "annealed-steel"},
    "thread": {"section": "threaded", "material": "threaded rod", "diameter": "M4"},
    "gauge": {"diameter": "14 SWG"},
    "line": {"material": "fishing line", "diameter": "0.6 mm", "from": "above", "tension": "20 N"},
    "turns": {"moves": "turns"},
    "both": {"moves": "both", "profile": "s-curve"},
    "head": {"head": "yes", "payload": "3 kg", "moment": "2 N*m"},
    "numbers": {"hazard": "2", "shape": "4", "material": "7", "moves": "3", "profile": "2"},
    "two props": {"prop 1 another": "yes", "prop 2 mass": "14 g", "prop 2 name": "crane"},
    "units": {"mass": "11 oz", "size": "2 x 1 3/4 x 2 in", "length": "7 in +/- 1/16 in", "roll": "0.5 turn"},
}


@pytest.mark.parametrize("way", WAYS)
def test_every_way_ends_in_a_rig_file_that_says_what_was_answered(way):
    interview = talk(WAYS[way])
    text = interview.text()
    assert tomllib.loads(text) == {"format": 1, **interview.data()}
    shot(interview)


def test_every_question_is_asked_on_some_way():
    asked = {name.split()[-1] for way in WAYS.values() for name in talk(way).answers}
    assert asked == {question.name for question in EVERY_QUESTION}


def test_what_the_file_says():
    made = shot(
        talk(
            {"prop 1 another": "yes", "prop 2 name": "crane", "prop 2 mass": "14 g", "prop 2 moves": "both"},
            title="Desk",
            hazard="hands",
            diameter="14 SWG",
            centre_of_mass="0, 0, 12 mm",
            profile="s-curve",
        )
    )
    inkwell, crane = made.prop
    assert made.title == "Desk"
    assert made.limits.hazard == "hands"
    assert made.camera is not None
    assert made.camera.playback_rate is not None
    assert made.camera.playback_rate.text == "25 fps"
    assert inkwell.name == "prop 1"
    assert inkwell.mass.m_as("g") == pytest.approx(310)
    assert [entry.m_as("mm") for entry in inkwell.centre_of_mass] == [0, 0, 12]
    # British standard wire gauge 14 is 0.080 in (handbook table, from memory)
    assert inkwell.support[0].diameter.m_as("in") == pytest.approx(0.080)
    assert [move.slide is not None for move in inkwell.move] == [True]
    assert [(move.slide is None, move.roll is None, move.profile) for move in crane.move] == [
        (False, True, "s-curve"),
        (True, False, "s-curve"),
    ]


@pytest.mark.parametrize(
    ("question", "wrong", "words"),
    [
        ("hazard", "", ["needs an answer"]),
        ("hazard", "nobody", ["clear, hands or overhead", "number"]),
        ("hazard", "4", ["no number 4", "1 to 3"]),
        ("prop 1 mass", "310", ["no unit", "310 g"]),
        ("prop 1 mass", "310 mm", ["mass"]),
        ("prop 1 mass", "-3 g", ["more than zero"]),
        ("prop 1 mass", "9**9**9 g", ["number"]),
        ("prop 1 mass", "nan g", ["nan"]),
        ("prop 1 size", "52 mm, 45 mm", ["3", "Given: 2"]),
        ("prop 1 size", "52, 45, 52", ["unit"]),
        ("prop 1 material", "music-wyre", ['Did you mean "music-wire"?']),
        ("prop 1 section", "hollow", ["tube"]),
        ("prop 1 diameter", "18 gauge", ["gauge"]),
        ("prop 1 length", "180", ['"180 mm"']),
        ("prop 1 clamp", "colet", ["collet"]),
        ("prop 1 slide_duration", "4 mm", ["time"]),
        ("image_width", "many", ["whole number"]),
        ("elevation", "120 deg", ["90 deg"]),
        ("takes", "1.5", ["whole number"]),
        ("title", "x" * (LONGEST_ANSWER + 1), ["too long"]),
        ("title", "red \x1b[31m", ["control characters"]),
    ],
)
def test_a_wrong_answer_is_told_what_is_allowed_and_asked_again(question, wrong, words):
    interview = Interview()
    while (asked := interview.next()).name != question:
        interview.answer(PLAIN.get(asked.question.name, ""))
    before = interview.answers
    said = " ".join(interview.answer(wrong))
    for word in words:
        assert word in said
    assert interview.next().name == question
    assert interview.answers == before


def test_answers_are_held_against_each_other():
    """A wall does not fit its tube, a strip does not droop farther than it sticks out."""
    interview = Interview()
    special = {"section": "tube", "wall": "0.45 mm", "soft": "yes"}
    told = {}
    while (asked := interview.next()) is not None:
        wrong = {"wall": "2 mm", "droop": "90 mm"}.get(asked.question.name)
        if wrong:
            told[asked.question.name] = " ".join(interview.answer(wrong))
        assert interview.answer(special.get(asked.question.name, PLAIN.get(asked.question.name, ""))) == ()
    assert "half the diameter" in told["wall"]
    assert "overhang" in told["droop"]


def test_two_props_need_two_names():
    interview = Interview()
    while (asked := interview.next()).name != "prop 2 name":
        interview.answer("yes" if asked.question.name == "another" else PLAIN.get(asked.question.name, ""))
    assert "earlier one" in " ".join(interview.answer("prop 1"))


@pytest.mark.parametrize("count", [1, 5, 12, 25])
def test_it_goes_on_where_it_was_left(count):
    whole = talk(WAYS["two props"])
    kept = dict(list(whole.answers.items())[:count])
    again = Interview(kept)
    assert again.answers == kept
    assert again.next() is not None
    while (asked := again.next()) is not None:
        assert again.answer(whole.answers[asked.name]) == ()
    assert again.text() == whole.text()


def test_a_kept_answer_that_does_not_hold_is_asked_again():
    kept = talk().answers
    again = Interview({**kept, "prop 1 mass": "310 mm"})
    assert again.next().name == "prop 1 mass"
    assert again.answer("320 g") == ()
    assert again.next() is None  # what came after it was kept
    assert again.answers == {**kept, "prop 1 mass": "320 g"}


def test_a_step_back_offers_what_was_answered():
    interview = Interview(dict(list(talk().answers.items())[:5]))
    assert interview.back()
    assert interview.back()
    assert interview.next().name == "prop 1 mass"
    assert interview.next().default == "310 g"
    assert interview.answer("0.3 kg") == ()
    assert interview.next().name == "prop 1 shape"  # the size, answered before, was taken up again
    assert not Interview().back()


def test_an_optional_answer_can_be_taken_out_again():
    interview = Interview(dict(list(talk().answers.items())[:5]))
    interview.back()
    assert interview.next().default == "52 x 45 x 52 mm"
    assert interview.answer("none") == ()
    assert interview.answers["prop 1 size"] == ""


@given(st.text(max_size=60))
@settings(max_examples=150, deadline=None)
def test_any_name_comes_through_the_file(text):
    """Quotes, backslashes, letters of any script: refused with words, or read back as typed."""
    interview = Interview()
    if interview.answer(text):
        return
    while (asked := interview.next()) is not None:
        assert interview.answer(PLAIN.get(asked.question.name, "")) == ()
    assert shot(interview).title == (text.strip() or "My shot")


@pytest.mark.parametrize("question", [one for one in EVERY_QUESTION if one.key], ids=lambda one: one.name)
def test_every_answer_has_a_home_in_the_rig_file(question: Question):
    part: type[Part] = _PARTS[question.table]
    assert question.key in part.file_keys()
    assert "?" in question.asks


def test_what_was_left_out_stands_there_as_a_comment():
    assert '# grip = "15 mm"  # ' in talk().text()
