"""What `rigcheck start` asks, in which words, and how each thing is measured with a ruler, scales and a phone.

The questions are data. `Question.table` and `Question.key` say where in the rig file an answer goes; a question
without a key only decides which others are asked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

__all__ = ["AFTER_PROPS", "OF_A_PROP", "OF_THE_SHOT", "Answers", "Kind", "Question"]

Answers: TypeAlias = Mapping[str, str]
"""Answers by the question's name; those of one prop, without its number."""

Kind: TypeAlias = Literal["text", "quantity", "list", "count", "choice", "name", "yes-no"]
"""How an answer is read: ``name`` is a choice that takes every other name from stock too."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """One thing to be told.

    Attributes
    ----------
    name : str
        Stable, unlike that of any other question of the same list.
    section : str
        Heading it stands under.
    asks : str
        The question in plain words.
    how : str
        How to measure it, or what it means; with examples of units.
    table : str
        Where it goes in the rig file: ``shot``, ``limits``, ``camera``, ``prop``, ``droop_test``, ``insert``,
        ``support``, ``axis``, ``slide``, ``roll``, or ``moves`` for all moves.
    key : str
        The key there; empty where the answer only decides what else is asked.
    kind : Kind
        How the answer is read.
    parts : int
        Number of entries of a list.
    choices : tuple of (str, str)
        Value and plain words of each; the words of a name from stock are empty and come from there.
    default : str or callable, optional
        What an empty answer stands for; a function gets the answers so far. None where one has to answer.
    optional : bool
        Whether an empty answer leaves the key out.
    when : callable
        Whether it is asked, from the answers so far.
    """

    name: str
    section: str
    asks: str
    how: str = ""
    table: str = ""
    key: str = ""
    kind: Kind = "quantity"
    parts: int = 1
    choices: tuple[tuple[str, str], ...] = ()
    default: str | Callable[[Answers], str] | None = None
    optional: bool = False
    when: Callable[[Answers], bool] = field(default=lambda _answers: True)


_YES_NO = (("yes", ""), ("no", ""))
_SIDES = (
    ("behind", "it comes from behind the prop"),
    ("below", "the prop stands on it"),
    ("above", "the prop hangs from it"),
    ("left", "it comes in from the left"),
    ("right", "it comes in from the right"),
    ("front", "it comes from the camera's side"),
)
_DIRECTIONS = (
    ("up", ""),
    ("down", ""),
    ("left", ""),
    ("right", ""),
    ("toward", "toward the camera"),
    ("away", "away from the camera"),
)


def _is(name: str, *values: str) -> Callable[[Answers], bool]:
    return lambda answers: answers.get(name) in values


def _usual_section(answers: Answers) -> str:
    """The shape that the material is mostly sold in."""
    from rigcheck import stock

    forms = stock.find_material(answers["material"]).forms
    sections = ("round", "tube", "strip", "strand", "threaded")
    return next((form for form in forms if form in sections), "round")


def _is_line(answers: Answers) -> bool:
    from rigcheck import stock

    return "line" in stock.find_material(answers["material"]).forms


OF_THE_SHOT: tuple[Question, ...] = (
    Question(
        name="title",
        section="The shot",
        asks="What do you call this shot?",
        how="Any words; they stand at the top of the result.",
        table="shot",
        key="title",
        kind="text",
        default="My shot",
    ),
    Question(
        name="hazard",
        section="The shot",
        asks="Who or what is under the prop while it hangs or moves?",
        how="It decides how strong the rig has to be, so there is no default.",
        table="limits",
        key="hazard",
        kind="choice",
        choices=(
            ("clear", "nobody and nothing that can be hurt"),
            ("hands", "hands reach under it"),
            ("overhead", "people, animals or an open flame"),
        ),
    ),
)

OF_A_PROP: tuple[Question, ...] = (
    Question(
        name="name",
        section="The prop",
        asks="What is it that floats? Give it a short name.",
        how="For example: inkwell.",
        table="prop",
        key="name",
        kind="text",
        default=lambda answers: f"prop {answers['number']}",
    ),
    Question(
        name="mass",
        section="The prop",
        asks="What does it weigh?",
        how="Kitchen scales: lay the prop on them with all that rides on the tip (glue, tape, plug), but"
        " without a stiffening card inside, which is asked later. Any unit: 310 g, 11 oz, 0.7 lb.",
        table="prop",
        key="mass",
    ),
    Question(
        name="size",
        section="The prop",
        asks="How large is it: width, height, depth?",
        how="Ruler: width from left to right as the camera sees it, height, and depth toward the camera, as"
        " it stands when the move ends. For example: 52 mm, 45 mm, 52 mm, or 2 x 1 3/4 x 2 in. It tells how"
        " hard the prop is to turn.",
        table="prop",
        key="size",
        kind="list",
        parts=3,
        optional=True,
    ),
    Question(
        name="shape",
        section="The prop",
        asks="Which shape comes nearest?",
        table="prop",
        key="shape",
        kind="choice",
        choices=(
            ("box", "a box, a book, anything else"),
            ("cylinder", "a standing can or jar"),
            ("disc", "a coin or lid lying flat"),
            ("sphere", "a ball"),
        ),
        default="box",
        when=lambda answers: bool(answers.get("size")),
    ),
    Question(
        name="centre_of_mass",
        section="The prop",
        asks="Where is its balance point, seen from the tip of the support: right, up, toward the camera?",
        how="Balance it on a pencil twice, crosswise: the point is where the two lines cross. Ruler: from the"
        " tip to there. For example 0 mm, 0 mm, 12 mm when the tip ends 12 mm behind it; all zero when the"
        " tip ends in the middle.",
        table="prop",
        key="centre_of_mass",
        kind="list",
        parts=3,
        default="0 mm, 0 mm, 0 mm",
    ),
    Question(
        name="soft",
        section="The prop",
        asks="Does it hang limp when you hold it by one edge?",
        how="A notebook, cloth or a sheet of paper does; a jar does not.",
        kind="yes-no",
        choices=_YES_NO,
        default="no",
    ),
    Question(
        name="overhang",
        section="The prop",
        asks="Droop test: how far does it stick out over a table edge?",
        how="Lay it flat on a table with a part beyond the edge, a book on the rest. Ruler: length beyond"
        " the edge, for example 80 mm.",
        table="droop_test",
        key="overhang",
        when=_is("soft", "yes"),
    ),
    Question(
        name="droop",
        section="The prop",
        asks="And how far does its end hang below the table top?",
        how="Ruler held upright at the end; a phone photo from the side, level with the table, reads easier."
        " For example 15 mm.",
        table="droop_test",
        key="droop",
        when=_is("soft", "yes"),
    ),
    Question(
        name="insert",
        section="The prop",
        asks="Is a stiff card or board hidden in it?",
        kind="yes-no",
        choices=_YES_NO,
        default="no",
        when=_is("soft", "yes"),
    ),
    Question(
        name="insert_material",
        section="The prop",
        asks="What is the card made of?",
        how="A number, or any sheet of: rigcheck stock",
        table="insert",
        key="material",
        kind="name",
        choices=tuple(
            (name, "")
            for name in (
                "greyboard",
                "corrugated-c",
                "foam-board",
                "birch-plywood",
                "acrylic",
                "carbon-plate",
            )
        ),
        default="greyboard",
        when=_is("insert", "yes"),
    ),
    Question(
        name="insert_thickness",
        section="The prop",
        asks="How thick is the card?",
        how="Ruler: stack several pieces, measure the stack, divide. For example 2 mm.",
        table="insert",
        key="thickness",
        when=_is("insert", "yes"),
    ),
    Question(
        name="insert_size",
        section="The prop",
        asks="How long and wide is the card: along the support, across it?",
        how="Ruler. For example 90 mm, 70 mm.",
        table="insert",
        key="size",
        kind="list",
        parts=2,
        when=_is("insert", "yes"),
    ),
    Question(
        name="insert_grain",
        section="The prop",
        asks="Which way does its stiff direction lie?",
        how="Bend it both ways: the way that resists more is the stiff one (along the flutes of corrugated"
        " board).",
        table="insert",
        key="grain",
        kind="choice",
        choices=(("along", "along the support"), ("across", "across it")),
        default="along",
        when=_is("insert", "yes"),
    ),
    Question(
        name="material",
        section="What carries it",
        asks="What is the hidden wire, rod or tube made of?",
        how='A number, or any name that "rigcheck stock" lists, such as brass rod or titanium.',
        table="support",
        key="material",
        kind="name",
        choices=tuple(
            (name, "")
            for name in (
                "spring-steel-sm",
                "music-wire",
                "stainless-304-spring",
                "annealed-steel",
                "aluminium-1100-o",
                "aluminium-6061-t6",
                "brass-c260",
                "carbon-rod",
                "carbon-tube",
                "glass-rod",
                "acrylic",
                "beech-dowel",
            )
        ),
        default="spring-steel-sm",
    ),
    Question(
        name="section",
        section="What carries it",
        asks="Is it solid or hollow?",
        table="support",
        key="section",
        kind="choice",
        choices=(
            ("round", "a solid round wire or rod"),
            ("tube", "a round tube"),
            ("strip", "a flat strip"),
            ("strand", "several wires twisted together"),
            ("threaded", "a threaded rod"),
        ),
        default=_usual_section,
    ),
    Question(
        name="diameter",
        section="What carries it",
        asks="How thick is it across?",
        how="Calipers; or wind ten turns tight round a pencil, measure their width with a ruler and divide by"
        " ten. Of a strand, one of its wires. Any unit or gauge: 3 mm, 1/8 in, 14 SWG; a thread: M4.",
        table="support",
        key="diameter",
        when=lambda answers: answers.get("section") != "strip",
    ),
    Question(
        name="wall",
        section="What carries it",
        asks="How thick is the wall of the tube?",
        how="Outer less inner diameter, halved; find the inner one with a drill bit that just goes in. For"
        " example 0.45 mm.",
        table="support",
        key="wall",
        when=_is("section", "tube"),
    ),
    Question(
        name="wires",
        section="What carries it",
        asks="How many wires are twisted together?",
        how="Open the end and count, for example 7.",
        table="support",
        key="wires",
        kind="count",
        when=_is("section", "strand"),
    ),
    Question(
        name="width",
        section="What carries it",
        asks="How wide is the strip?",
        how="Ruler, for example 10 mm.",
        table="support",
        key="width",
        when=_is("section", "strip"),
    ),
    Question(
        name="thickness",
        section="What carries it",
        asks="How thick is the strip?",
        how="Calipers, or stack several and divide. For example 1.5 mm.",
        table="support",
        key="thickness",
        when=_is("section", "strip"),
    ),
    Question(
        name="length",
        section="What carries it",
        asks="How long is the free part?",
        how="Ruler: from where the clamp lets go to where it enters the prop. For example 180 mm, 7 in.",
        table="support",
        key="length",
    ),
    Question(
        name="from",
        section="What carries it",
        asks="From where does it come to the prop?",
        how="As the camera sees it.",
        table="support",
        key="from",
        kind="choice",
        choices=_SIDES,
        default="behind",
    ),
    Question(
        name="tension",
        section="What carries it",
        asks="How hard is the line pulled before the prop is hung?",
        how="Luggage scales hooked to its end: 2 kg on them is about 20 N.",
        table="support",
        key="tension",
        optional=True,
        when=_is_line,
    ),
    Question(
        name="clamp",
        section="What carries it",
        asks="What holds its other end?",
        how="A number, or any clamp of: rigcheck stock. The firmer, the less it sags.",
        table="support",
        key="clamp",
        kind="name",
        choices=tuple(
            (name, "")
            for name in (
                "collet",
                "pin-vice",
                "two-set-screws",
                "one-set-screw",
                "screw-and-washer",
                "plastic-block",
                "wood-block",
                "foam-block",
            )
        ),
        default="one-set-screw",
    ),
    Question(
        name="grip",
        section="What carries it",
        asks="How much of it is inside the clamp?",
        how="Ruler: mark it at the jaw with tape, pull it out, measure. For example 15 mm.",
        table="support",
        key="grip",
        optional=True,
    ),
    Question(
        name="embed",
        section="What carries it",
        asks="How much of it is inside the prop?",
        how="Ruler: as above. For example 40 mm.",
        table="support",
        key="embed",
        optional=True,
    ),
    Question(
        name="moves",
        section="How it moves",
        asks="What does the motorised head or slide do with it?",
        kind="choice",
        choices=(
            ("slides", "it goes along a line"),
            ("turns", "it rolls about an axis"),
            ("both", "it slides and turns"),
            ("still", "nothing: it stands still"),
        ),
        default="slides",
    ),
    Question(
        name="slide",
        section="How it moves",
        asks="How far does it slide?",
        how="Ruler: from where it starts to where it comes to rest. For example 220 mm.",
        table="slide",
        key="slide",
        when=_is("moves", "slides", "both"),
    ),
    Question(
        name="slide_along",
        section="How it moves",
        asks="Which way?",
        how="As the camera sees it.",
        table="slide",
        key="along",
        kind="choice",
        choices=_DIRECTIONS,
        default="up",
        when=_is("moves", "slides", "both"),
    ),
    Question(
        name="slide_duration",
        section="How it moves",
        asks="How long does the slide take?",
        how="In real time, before any slowing down: from the program of the slide, or a phone's stopwatch."
        " For example 4 s.",
        table="slide",
        key="duration",
        when=_is("moves", "slides", "both"),
    ),
    Question(
        name="slide_start",
        section="How it moves",
        asks="When does the slide begin, counted from the start of the shot?",
        how="It matters where several things move.",
        table="slide",
        key="start",
        default="0 s",
        when=_is("moves", "slides", "both"),
    ),
    Question(
        name="roll",
        section="How it moves",
        asks="How far does it turn?",
        how="A phone's level app, held to the prop before and after; or count turns. For example 180 deg or"
        " 0.5 turn.",
        table="roll",
        key="roll",
        when=_is("moves", "turns", "both"),
    ),
    Question(
        name="roll_about",
        section="How it moves",
        asks="About which axis?",
        how="The direction in which the shaft points. toward: it turns like the hands of a clock that faces"
        " the camera.",
        table="roll",
        key="about",
        kind="choice",
        choices=_DIRECTIONS,
        default="toward",
        when=_is("moves", "turns", "both"),
    ),
    Question(
        name="roll_duration",
        section="How it moves",
        asks="How long does the turn take?",
        how="In real time. For example 4 s.",
        table="roll",
        key="duration",
        when=_is("moves", "turns", "both"),
    ),
    Question(
        name="roll_start",
        section="How it moves",
        asks="When does the turn begin, counted from the start of the shot?",
        table="roll",
        key="start",
        default="0 s",
        when=_is("moves", "turns", "both"),
    ),
    Question(
        name="profile",
        section="How it moves",
        asks="How does it speed up and slow down?",
        how="If you do not know, keep the first: a plain drive does that, and it shakes more than the others.",
        table="moves",
        key="profile",
        kind="choice",
        choices=(
            ("trapezoidal", "steady speeding up, steady speed, steady slowing down"),
            ("s-curve", "the same with its corners rounded"),
            ("harmonic", "as a crank does it"),
            ("cycloidal", "begins and ends very gently"),
            ("modified-sine", "gentle, with less top speed"),
            ("polynomial-345", "smooth"),
            ("polynomial-4567", "smoothest"),
        ),
        default="trapezoidal",
        when=_is("moves", "slides", "turns", "both"),
    ),
    Question(
        name="head",
        section="How it moves",
        asks="Do you know what the motorised head may carry?",
        how="It stands on its type plate or in its manual.",
        kind="yes-no",
        choices=_YES_NO,
        default="no",
    ),
    Question(
        name="payload",
        section="How it moves",
        asks="What mass may it carry?",
        how="For example 3 kg.",
        table="axis",
        key="payload",
        optional=True,
        when=_is("head", "yes"),
    ),
    Question(
        name="moment",
        section="How it moves",
        asks="What moment across its shaft?",
        how="For example 2 N*m.",
        table="axis",
        key="moment",
        optional=True,
        when=_is("head", "yes"),
    ),
    Question(
        name="torque",
        section="How it moves",
        asks="What torque about its shaft?",
        how="For example 0.5 N*m.",
        table="axis",
        key="torque",
        optional=True,
        when=_is("head", "yes"),
    ),
    Question(
        name="another",
        section="How it moves",
        asks="Does another prop float in this shot?",
        kind="yes-no",
        choices=_YES_NO,
        default="no",
    ),
)

AFTER_PROPS: tuple[Question, ...] = (
    Question(
        name="camera",
        section="The camera",
        asks="Do you know what the camera will see?",
        how="Without it the wobble stays in millimetres, and nobody can say whether it shows.",
        kind="yes-no",
        choices=_YES_NO,
        default="yes",
    ),
    Question(
        name="field_width",
        section="The camera",
        asks="How wide is the picture, measured at the prop?",
        how="Lay a ruler or tape where the prop will be and read in the viewfinder (or a phone photo of it) how"
        " much of it the picture shows from edge to edge. For example 420 mm, 16 1/2 in.",
        table="camera",
        key="field_width",
        when=_is("camera", "yes"),
    ),
    Question(
        name="image_width",
        section="The camera",
        asks="How many pixels is the picture wide?",
        how="3840 for UHD, 1920 for HD.",
        table="camera",
        key="image_width",
        kind="count",
        default="3840",
        when=_is("camera", "yes"),
    ),
    Question(
        name="frame_rate",
        section="The camera",
        asks="At how many frames a second is it shot?",
        how="For example 50 fps.",
        table="camera",
        key="frame_rate",
        default="25 fps",
        when=_is("camera", "yes"),
    ),
    Question(
        name="playback_rate",
        section="The camera",
        asks="And at how many is it shown?",
        how="Slower than shot is slow motion.",
        table="camera",
        key="playback_rate",
        default=lambda answers: answers["frame_rate"],
        when=_is("camera", "yes"),
    ),
    Question(
        name="elevation",
        section="The camera",
        asks="How far does the camera look down?",
        how="A phone's level app laid on the camera: 0 deg is level, 90 deg looks straight down.",
        table="camera",
        key="elevation",
        default="0 deg",
        when=_is("camera", "yes"),
    ),
    Question(
        name="takes",
        section="The camera",
        asks="How often will the move be made, rehearsals too?",
        how="It decides whether the wire tires.",
        table="limits",
        key="takes",
        kind="count",
        default="60",
    ),
)
