"""The models: defaults, what has to stand together, and what no body or part can be."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError

from rigcheck.errors import UnknownNameError
from rigcheck.model import (
    DIRECTIONS,
    SIDES,
    Analysis,
    Axis,
    Camera,
    DroopTest,
    Insert,
    Limits,
    Move,
    OwnMaterial,
    Part,
    Prop,
    Shot,
    Sleeve,
    Support,
)
from rigcheck.model.post import Post
from rigcheck.units import measured, registry

WIRE = {"material": "music-wire", "diameter": "3 mm", "length": "180 mm"}
PROP = {"name": "inkwell", "mass": "310 g", "support": [WIRE]}


def says(part: type[Part], **given: object) -> list[str]:
    """Give what is wrong, as ``place: message``; nothing where nothing is."""
    try:
        part.model_validate(given)
    except ValidationError as error:
        return [f"{'.'.join(map(str, one['loc']))}: {one['msg']}" for one in error.errors()]
    return []


# -- defaults ------------------------------------------------------------------------------------------------


def test_defaults_are_those_of_the_format() -> None:
    shot = Shot.model_validate({"prop": [PROP]})
    assert (shot.format, shot.title, shot.camera, shot.material, shot.post) == (1, "", None, (), None)
    limits = shot.limits
    assert (limits.hazard, limits.wobble, limits.settle.m_as("s"), limits.sag, limits.takes) == (
        "clear",
        1.0,
        0.25,
        None,
        60,
    )
    assert shot.analysis.model_dump() == {
        "displacement": "auto",
        "gravity_stiffness": True,
        "shear": True,
        "modes": 6,
        "residual_periods": 2.0,
    }
    prop = shot.prop[0]
    assert [part.m_as("mm") for part in prop.centre_of_mass] == [0.0, 0.0, 0.0]
    assert (prop.along, prop.mark, prop.shape, prop.move) == (DIRECTIONS["up"], None, None, ())
    support = prop.support[0]
    assert (support.section, support.from_, support.clamp, support.root_stiffness, support.sleeve) == (
        "round",
        "behind",
        None,
        None,
        (),
    )
    move = Move.model_validate({"slide": "220 mm", "duration": "4 s"})
    assert (move.profile, move.ramp, move.start.m_as("s")) == ("trapezoidal", 1 / 3, 0.0)
    assert (move.along, move.about, move.through) == ((0.0, 1.0, 0.0), (0.0, 0.0, 1.0), None)
    post = Post.model_validate({})  # nobody's rates are taken for the user's
    assert (post.cleanup, post.cleanup_per_megapixel, post.rerig, post.take) == (None, None, None, None)
    camera = Camera.model_validate({"field_width": "420 mm", "image_width": 3840})
    assert (camera.shutter_angle.m_as("deg"), camera.elevation.m_as("deg")) == (180.0, 0.0)
    assert (
        Sleeve.model_validate(
            {"material": "brass-c260", "diameter": "4 mm", "wall": "0.4 mm", "end": "9 mm"}
        ).start.m_as("m")
        == 0.0
    )
    assert (
        Insert.model_validate({"material": "greyboard", "thickness": "2 mm", "size": ["9 mm", "7 mm"]}).grain
        == "along"
    )


def test_the_frame_of_reference() -> None:
    # Right-handed: right x up = toward the camera. The root lies behind the tip, away from the camera.
    right, up, toward = (DIRECTIONS[word] for word in ("right", "up", "toward"))
    cross = tuple(
        right[(i + 1) % 3] * up[(i + 2) % 3] - right[(i + 2) % 3] * up[(i + 1) % 3] for i in range(3)
    )
    assert cross == toward
    for word, opposite in (("right", "left"), ("up", "down"), ("toward", "away")):
        assert DIRECTIONS[word] == tuple(-part for part in DIRECTIONS[opposite])
    assert {
        "behind": DIRECTIONS["away"],
        "front": DIRECTIONS["toward"],
        "left": DIRECTIONS["left"],
        "right": DIRECTIONS["right"],
        "above": DIRECTIONS["up"],
        "below": DIRECTIONS["down"],
    } == SIDES


# -- parts ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sizes", "section"),
    [
        ({"diameter": "3 mm"}, "round"),
        ({"diameter": "3 mm", "wall": "0.5 mm"}, "tube"),
        ({"width": "10 mm", "thickness": "1 mm"}, "strip"),
        ({"diameter": "0.5 mm", "wires": 7}, "strand"),
        ({"diameter": "M4"}, "threaded"),
    ],
)
def test_the_section_follows_from_the_sizes(sizes: dict[str, object], section: str) -> None:
    support = Support.model_validate({"material": "music-wire", "length": "1 m", **sizes})
    assert support.section == section
    assert Support.model_validate({"material": "x", "length": "1 m", "section": section, **sizes}) is not None


def test_a_thread_is_read_as_its_outer_diameter() -> None:
    support = Support.model_validate({**WIRE, "diameter": "M4"})
    assert support.diameter is not None
    assert support.diameter.m_as("mm") == 4.0
    assert support.diameter.text == "M4"


# What is given beside a material, and all that is said of it.
SUPPORTS = [
    (
        {"diameter": "3 mm"},
        ['length: is missing: the free length from the jaw to the tip. Add length = "180 mm".'],
    ),
    ({"length": "1 m"}, ['diameter: is missing: a round section has diameter. Add diameter = "3 mm".']),
    (
        {"length": "1 m", "section": "tube", "diameter": "3 mm"},
        ['wall: is missing: a tube section has diameter and wall. Add wall = "0.45 mm".'],
    ),
    (
        {"length": "1 m", "width": "3 mm"},
        ['thickness: is missing: a strip section has width and thickness. Add thickness = "1.5 mm".'],
    ),
    (
        {"length": "1 m", "section": "strand", "diameter": "1 mm"},
        ["wires: is missing: a strand section has diameter and wires. Add wires = 7."],
    ),
    (
        {"length": "1 m", "section": "round", "diameter": "1 mm", "wall": "0.1 mm"},
        ['wall: is no size of a round section. It belongs to section = "tube".'],
    ),
    (
        {"length": "1 m", "section": "strip", "width": "5 mm", "thickness": "1 mm", "diameter": "1 mm"},
        [
            (
                "diameter: is no size of a strip section. "
                'It belongs to section = "round", "tube", "strand" or "threaded".'
            )
        ],
    ),
    (
        {"length": "1 m", "section": "round", "diameter": "M4"},
        ['diameter: is a thread, but the section is round. Write section = "threaded", or a size in mm.'],
    ),
    (
        {"length": "1 m", "diameter": "3 mm", "wall": "1.6 mm"},
        ['wall: is more than half the diameter "3 mm".'],
    ),
    (
        {"length": "1 m", "path": [["0 m", "0 m", "1 m"], ["0 m", "0 m", "0 m"]], "diameter": "3 mm"},
        ["length: cannot stand beside path, which says it already. Leave length or path out."],
    ),
    (
        {"from": "left", "path": [["0 m", "0 m", "1 m"], ["0 m", "0 m", "0 m"]], "diameter": "3 mm"},
        ["from: cannot stand beside path, which says it already. Leave from or path out."],
    ),
    (
        {"path": [["0 m", "0 m", "0 m"]], "diameter": "3 mm"},
        ["path: needs at least 2. Given: 1. Add path = [[x, y, z], ...]."],
    ),
    (
        {"path": [["0 m", "0 m", "1 m"], ["0 m", "0 m", "1000 mm"]], "diameter": "3 mm"},
        ["path: has points 1 and 2 in the same place. Leave one of them out."],
    ),
    (
        {**WIRE, "clamp": "collet", "root_stiffness": "rigid"},
        ["root_stiffness: cannot stand beside clamp, which has a stiffness of its own. Keep one of the two."],
    ),
    (
        {**WIRE, "root_stiffness": "stiff"},
        ['root_stiffness: "stiff" is not a stiffness. Write "rigid" or a value like "12 N*m/rad".'],
    ),
    ({**WIRE, "root_stiffness": "0 N*m/rad"}, ['root_stiffness: "0 N*m/rad" has to be more than zero.']),
    (
        {**WIRE, "root_stiffness": ["rigid", "rigid"]},
        [
            (
                "root_stiffness: three values are needed, about right, up, toward. Given: 2. "
                'Write ["12 N*m/rad", "rigid", "12 N*m/rad"].'
            )
        ],
    ),
    (
        {**WIRE, "wires": 1},
        [
            "wires: has to be a whole number, 2 to 169.",
        ],
    ),
    (
        {**WIRE, "from": "behnd"},
        ['from: has to be behind, front, left, right, above or below. Did you mean "behind"?'],
    ),
]


@pytest.mark.parametrize(("given", "wrong"), SUPPORTS)
def test_what_is_wrong_with_a_support(given: dict[str, object], wrong: list[str]) -> None:
    assert says(Support, **{"material": "music-wire", **given}) == wrong


def test_root_stiffness_in_its_three_forms() -> None:
    assert Support.model_validate({**WIRE, "root_stiffness": "rigid"}).root_stiffness == "rigid"
    one = Support.model_validate({**WIRE, "root_stiffness": "12 N*m/rad"}).root_stiffness
    assert one.m_as("N*m/rad") == 12.0
    # A hinge about one axis is a support; zero about the only one given would be none.
    three = Support.model_validate(
        {**WIRE, "root_stiffness": ["12 N*m/rad", "rigid", "0 N*m/rad"]}
    ).root_stiffness
    assert (three[0].m_as("N*m/rad"), three[1], three[2].m_as("N*m/rad")) == (12.0, "rigid", 0.0)


SLEEVE = {"material": "brass-c260", "diameter": "4 mm", "wall": "0.45 mm", "start": "0 mm", "end": "90 mm"}


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        ({}, []),
        # A press fit: the nominal bore, 2.96 mm, is 1.3 % under the nominal rod.
        ({"wall": "0.52 mm"}, []),
        ({"end": "180 mm"}, []),
        (
            {"wall": "0.6 mm"},
            [
                (
                    "sleeve.0.wall: leaves a bore of 2.8 mm, too small for the support's diameter "
                    '"3 mm". Take a wider tube or a thinner wall.'
                )
            ],
        ),
        ({"end": "181 mm"}, ["sleeve.0.end: is beyond the support, which is 180 mm long."]),
        ({"start": "90 mm"}, ['sleeve.0.end: has to be farther from the jaw than start, "90 mm".']),
        ({"wall": "3 mm"}, ['sleeve.0.wall: is more than half the diameter "4 mm".']),
    ],
)
def test_a_sleeve_fits_over_its_support(change: dict[str, str], wrong: list[str]) -> None:
    assert says(Support, **WIRE, sleeve=[{**SLEEVE, **change}]) == wrong


def test_a_sleeve_on_a_bent_support_is_held_against_the_length_along_it() -> None:
    # 3-4-5: 50 mm along the first leg, 100 mm along the second.
    bent = [["30 mm", "40 mm", "-100 mm"], ["0 mm", "0 mm", "-100 mm"], ["0 mm", "0 mm", "0 mm"]]
    support = {"material": "music-wire", "diameter": "3 mm", "path": bent}
    assert says(Support, **support, sleeve=[{**SLEEVE, "end": "150 mm"}]) == []
    assert says(Support, **support, sleeve=[{**SLEEVE, "end": "151 mm"}]) == [
        "sleeve.0.end: is beyond the support, which is 150 mm long."
    ]


CAMERAS = [
    ({"field_width": "420 mm", "image_width": 3840}, []),
    ({"distance": "1.1 m", "focal_length": "50 mm", "sensor_width": "36 mm", "image_width": 3840}, []),
    (
        {"image_width": 3840},
        [
            (
                "field_width: is missing: the picture's scale is not known. "
                'Add field_width = "420 mm", or distance, focal_length and sensor_width.'
            )
        ],
    ),
    (
        {"distance": "1.1 m", "image_width": 3840},
        [
            (
                "focal_length: is missing: the lens needs all three of distance, focal_length and "
                'sensor_width. Add focal_length = "50 mm".'
            ),
            (
                "sensor_width: is missing: the lens needs all three of distance, focal_length and "
                'sensor_width. Add sensor_width = "36 mm".'
            ),
        ],
    ),
    (
        {"field_width": "420 mm", "distance": "1.1 m", "image_width": 3840},
        ["distance: cannot stand beside field_width. Keep field_width, or the three of the lens."],
    ),
    ({"field_width": "420 mm"}, ["image_width: is missing. Add image_width = 3840."]),
    (
        {"distance": "40 mm", "focal_length": "50 mm", "sensor_width": "36 mm", "image_width": 3840},
        ["focal_length: is not shorter than the distance to the prop, so there is no picture of it."],
    ),
    (
        {"field_width": "420 mm", "image_width": 3840, "shutter_angle": "361 deg"},
        ['shutter_angle: is more than a whole turn: up to 360 deg is possible. Write "180 deg".'],
    ),
    ({"field_width": "420 mm", "image_width": 3840, "shutter_angle": "1 turn", "elevation": "-90 deg"}, []),
    (
        {"field_width": "420 mm", "image_width": 3840, "elevation": "91 deg"},
        ["elevation: has to be from -90 deg, looking straight up, to 90 deg, straight down."],
    ),
    (
        {"field_width": "420 mm", "image_width": True},
        ["image_width: has to be a whole number, 16 to 100000."],
    ),
]


@pytest.mark.parametrize(("given", "wrong"), CAMERAS)
def test_what_is_wrong_with_a_camera(given: dict[str, object], wrong: list[str]) -> None:
    assert says(Camera, **given) == wrong


MOVES = [
    ({"slide": "220 mm", "duration": "4 s", "along": [0, 3, 4], "ramp": 0.5}, []),
    ({"roll": "-180 deg", "duration": "4 s", "about": "up", "through": ["0 mm", "1 mm", "2 mm"]}, []),
    ({"acceleration": "0.08 g0"}, []),
    ({"acceleration": "0.8 m/s^2", "along": "right", "duration": "4 s"}, []),
    ({"keys": "a.csv", "slide": "mm"}, []),
    ({"keys": "a.csv", "roll": "180 deg"}, []),
    (
        {},
        ['slide: is missing: a move has a slide, a roll, an acceleration or keys. Add slide = "220 mm".'],
    ),
    ({"slide": "220 mm"}, ['duration: is missing: a slide needs the time it takes. Add duration = "4 s".']),
    (
        {"slide": "1 mm", "roll": "1 deg", "duration": "4 s"},
        ["roll: cannot stand beside slide in one move. Put it in a [[prop.move]] of its own."],
    ),
    (
        {"keys": "a.csv"},
        ['keys: does not say what moves. Add slide = "mm" or roll = "deg", the unit of the values.'],
    ),
    (
        {"keys": "a.csv", "slide": "mm", "duration": "4 s"},
        ["duration: cannot stand beside keys, which have times of their own. Leave it out."],
    ),
    (
        {"keys": "a.csv", "acceleration": "1 m/s^2"},
        ['acceleration: cannot stand beside keys. Say what the keys move: slide = "mm" or roll = "deg".'],
    ),
    (
        {"slide": "mm", "duration": "4 s"},
        ['slide: is a unit without a number; that is for a move with keys. Write slide = "220 mm".'],
    ),
    (
        {"acceleration": "1 m/s^2", "profile": "harmonic"},
        [
            (
                "profile: has no meaning beside acceleration: the worst of all ways to speed up is taken. "
                "Leave it out, or give slide and duration."
            )
        ],
    ),
    (
        {"roll": "1 deg", "duration": "1 s", "along": "up"},
        ['along: is for a slide; a roll turns about an axis. Write about = "toward".'],
    ),
    (
        {"slide": "1 mm", "duration": "1 s", "about": "up"},
        ["about: is for a roll; this is a slide. Leave it out, or write along."],
    ),
    ({"slide": "0 mm", "duration": "1 s"}, ["slide: is zero, so nothing moves. Leave the move out."]),
    ({"slide": "1 mm", "duration": "0 s"}, ['duration: "0 s" has to be more than zero.']),
    ({"slide": "1 mm", "duration": "1 s", "ramp": 0}, ["ramp: has to be a plain number, above 0 to 0.5."]),
    ({"slide": "1 mm", "duration": "1 s", "ramp": 0.6}, ["ramp: has to be a plain number, above 0 to 0.5."]),
    (
        {"slide": "1 mm", "duration": "1 s", "ramp": math.nan},
        ["ramp: has to be a plain number, above 0 to 0.5."],
    ),
    (
        {"slide": "1 mm", "duration": "1 s", "profile": "cycloid"},
        [
            (
                "profile: has to be trapezoidal, s-curve, harmonic, cycloidal, modified-sine, polynomial-345 "
                'or polynomial-4567. Did you mean "cycloidal"?'
            )
        ],
    ),
    (
        {"slide": "1 mm", "duration": "1 s", "along": [0, 0, 0]},
        ["along: a vector of zeros has no direction. Write [0, 1, 0] for up."],
    ),
    (
        {"slide": "1 mm", "duration": "1 s", "along": ["0 mm", "1 mm", "0 mm"]},
        [
            (
                "along: is not a direction: right, left, up, down, toward or away, or a vector of three "
                "plain numbers. Write [0, 1, 1] for halfway between up and toward."
            )
        ],
    ),
]


@pytest.mark.parametrize(("given", "wrong"), MOVES)
def test_what_is_wrong_with_a_move(given: dict[str, object], wrong: list[str]) -> None:
    assert says(Move, **given) == wrong


def test_what_a_move_does() -> None:
    assert Move.model_validate({"slide": "1 mm", "duration": "1 s"}).kind == "slide"
    assert Move.model_validate({"roll": "1 deg", "duration": "1 s"}).kind == "roll"
    assert Move.model_validate({"acceleration": "1 m/s^2"}).kind == "acceleration"
    plain = Move.model_validate({"slide": "1 mm", "duration": "1 s"})
    assert (plain.key_unit, plain.key_travel) == (None, None)
    keyed = Move.model_validate({"keys": "a.csv", "roll": "deg"})
    assert (keyed.kind, keyed.key_unit, keyed.key_travel) == ("roll", "deg", None)
    stated = Move.model_validate({"keys": "a.csv", "slide": "220 mm"})
    assert stated.key_unit == "mm"
    assert stated.key_travel is not None
    assert stated.key_travel.m_as("mm") == 220.0


@given(st.lists(st.floats(-1e300, 1e300), min_size=3, max_size=3))
def test_a_direction_is_a_unit_vector(vector: list[float]) -> None:
    assume(any(vector))
    along = Move.model_validate({"slide": "1 mm", "duration": "1 s", "along": vector}).along
    assert math.hypot(*along) == pytest.approx(1.0, rel=1e-14)
    largest = max(range(3), key=lambda index: abs(vector[index]))
    assert math.copysign(1.0, along[largest]) == math.copysign(1.0, vector[largest])


PROPS = [
    ({"size": ["1 mm", "1 mm", "1 mm"]}, []),
    ({"shape": "disc", "size": ["1 mm", "1 mm", "1 mm"], "along": "toward"}, []),
    (
        {"shape": "disc"},
        ['size: is missing: a shape needs its size. Add size = ["52 mm", "45 mm", "52 mm"].'],
    ),
    (
        {"along": "up"},
        [
            (
                "along: is the axis of a shape, and no shape is given. "
                "Add shape; the direction of a move goes under [[prop.move]]."
            )
        ],
    ),
    ({"size": ["1 mm", "0 mm", "1 mm"]}, ['size.1: "0 mm" has to be more than zero.']),
    (
        {"size": ["1 mm", "1 mm"]},
        ['size: a list of 3 is needed: right, up, toward. Given: 2. Write ["180 mm", "180 mm", "180 mm"].'],
    ),
    ({"inertia": ["4e-5 kg*m^2", "3e-5 kg*m^2", "5e-5 kg*m^2"]}, []),
    (
        {"flexural_rigidity": "0.02 N*m", "droop_test": {"overhang": "80 mm", "droop": "15 mm"}},
        ["droop_test: cannot stand beside flexural_rigidity. Keep one of the two."],
    ),
    (
        {"droop_test": {"overhang": "80 mm", "droop": "80 mm"}},
        ['droop_test.droop: has to be less than the overhang, "80 mm". Test a shorter overhang.'],
    ),
    ({"mass": "0 g"}, ['mass: "0 g" has to be more than zero.']),
    ({"mass": 310}, ['mass: 310 has no unit; a mass needs one. Write "310 g".']),
    ({"name": "  "}, ["name: must not be empty."]),
    ({"name": "a\nb"}, ["name: has to be one line of plain text, without control characters."]),
    ({"support": []}, ["support: needs at least 1. Given: 0. Add [[prop.support]]."]),
    ({"support": [WIRE] * 51}, ["support: has too many: at most 50. Given: 51."]),
    ({"move": [{"acceleration": "1 m/s^2"}] * 101}, ["move: has too many: at most 100. Given: 101."]),
    (
        {"support": WIRE},
        ["support: there can be several of these: the header is [[prop.support]], with two brackets."],
    ),
    ({"axis": [{}]}, ["axis: this is a table of its own: the header is [prop.axis], with one bracket."]),
    (
        {"support": [{**WIRE, "offset": ["0 mm", "1 mm", "0 mm"]}]},
        [
            (
                "support.0.offset: the first support cannot have one: offsets are measured from its tip. "
                "Leave it out there."
            )
        ],
    ),
    ({"support": [WIRE, {**WIRE, "offset": ["0 mm", "1 mm", "0 mm"]}]}, []),
    (
        {
            "support": [
                {
                    "material": "music-wire",
                    "diameter": "3 mm",
                    "path": [["0 mm", "0 mm", "-1 mm"], ["0 mm", "0 mm", "1 mm"]],
                }
            ]
        },
        [
            (
                "support.0.path: the path of the first support has to end at its tip, which is the origin. "
                'Let the last point be ["0 mm", "0 mm", "0 mm"].'
            )
        ],
    ),
]


@pytest.mark.parametrize(("change", "wrong"), PROPS)
def test_what_is_wrong_with_a_prop(change: dict[str, object], wrong: list[str]) -> None:
    assert says(Prop, **{**PROP, **change}) == wrong


def test_a_size_alone_makes_a_box() -> None:
    assert Prop.model_validate({**PROP, "size": ["1 mm", "1 mm", "1 mm"]}).shape == "box"


def inertia(*values: float) -> list[str]:
    return [f"{value!r} kg*m^2" for value in values]


IMPOSSIBLE = "belongs to no possible body"


def test_inertia_has_to_be_that_of_a_body() -> None:
    # A flat sheet is the limit: the one across it is the sum of the two others (perpendicular axis theorem).
    assert says(Prop, **PROP, inertia=inertia(1e-5, 3e-5, 2e-5)) == []
    assert any(IMPOSSIBLE in line for line in says(Prop, **PROP, inertia=inertia(1e-5, 4e-5, 2e-5)))
    # A rod at 45 degrees in the right-up plane: J = m l^2/12 [[1/2, -1/2, 0], [-1/2, 1/2, 0], [0, 0, 1]].
    assert says(Prop, **PROP, inertia=inertia(0.5e-5, 0.5e-5, 1e-5, -0.5e-5, 0.0, 0.0)) == []
    assert any(
        IMPOSSIBLE in line
        for line in says(Prop, **PROP, inertia=inertia(0.5e-5, 0.5e-5, 1e-5, -0.6e-5, 0, 0))
    )
    assert says(Prop, **PROP, inertia=inertia(1e-5, 1e-5, 1e-5, 0.0)) == [
        (
            "inertia: a list of 3 or 6 is needed: right, up, toward. Given: 4. "
            'Write ["4e-5 kg*m^2", "4e-5 kg*m^2", "4e-5 kg*m^2"].'
        )
    ]
    assert says(Prop, **PROP, inertia=inertia(-1e-5, 1e-5, 1e-5)) == [
        'inertia.0: "-1e-05 kg*m^2" has to be more than zero.'
    ]


@given(st.lists(st.tuples(*[st.floats(-0.1, 0.1)] * 3), min_size=4, max_size=8))
def test_any_set_of_points_is_a_possible_body(points: list[tuple[float, float, float]]) -> None:
    # Point masses of 10 g: J = sum m (r.r 1 - r r^T), so every such tensor has to be taken.
    def entry(i: int, j: int) -> float:
        return sum(0.01 * ((sum(x * x for x in r) if i == j else 0.0) - r[i] * r[j]) for r in points)

    values = [entry(0, 0), entry(1, 1), entry(2, 2), entry(0, 1), entry(1, 2), entry(2, 0)]
    assume(min(values[:3]) > 1e-9)
    assume(all(value == 0 or abs(value) > 1e-17 for value in values))
    assert says(Prop, **PROP, inertia=inertia(*values)) == []


MATERIAL = {"name": "shop-rod", "density": "2710 kg/m^3", "youngs_modulus": "69 GPa"}


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        ({}, []),
        ({"damping_ratio": 0}, []),
        ({"damping_ratio": 0.6}, ["damping_ratio: has to be a plain number, 0 to 0.5."]),
        (
            {"damping_ratio": "0.003"},
            ["damping_ratio: has to be a plain number, 0 to 0.5, without quotes or unit."],
        ),
        (
            {"yield_strength": "90 MPa", "tensile_strength": "35 MPa"},
            [
                (
                    'tensile_strength: is less than the yield strength "90 MPa"; '
                    "a material yields before it breaks."
                )
            ],
        ),
        (
            {"youngs_modulus": "69 N"},
            ['youngs_modulus: "69 N" is a force; a pressure is needed here. Write a pressure like "69 GPa".'],
        ),
        ({"shear_modulus": "500 MPa"}, []),
        *(
            (
                {"shear_modulus": shear},
                [
                    (
                        'shear_modulus: does not go with the Young\'s modulus "69 GPa": metals and plastics have'
                        " about 0.4 of it, rods of fibre a thirtieth. Look at the units of both."
                    )
                ],
            )
            for shear in ("26 MPa", "70 GPa")
        ),
    ],
)
def test_what_is_wrong_with_an_own_material(change: dict[str, object], wrong: list[str]) -> None:
    assert says(OwnMaterial, **{**MATERIAL, **change}) == wrong


@pytest.mark.parametrize(
    ("given", "wrong"),
    [
        ({"prop": [PROP], "format": 2}, ["format: has to be the number 1."]),
        ({}, ['prop: is missing: a shot has at least one. Add [[prop]] with name = "inkwell".']),
        (
            {"prop": [PROP, PROP]},
            ["prop.1.name: is the name of an earlier one too. Give each a name of its own."],
        ),
        (
            {"prop": [PROP], "material": [MATERIAL, MATERIAL]},
            ["material.1.name: is the name of an earlier one too. Give each a name of its own."],
        ),
        (
            {"prop": [PROP], "limits": {"hazard": "hand", "wobble": 0, "takes": 1.5}},
            [
                'limits.hazard: has to be clear, hands or overhead. Did you mean "hands"?',
                "limits.wobble: has to be a plain number, above 0 to 10000.",
                "limits.takes: has to be a whole number, 1 to 100000000.",
            ],
        ),
        (
            {"prop": [PROP], "analysis": {"shear": "yes", "displacement": "small"}},
            [
                "analysis.displacement: has to be auto, linear or large.",
                "analysis.shear: has to be true or false, without quotes.",
            ],
        ),
        (
            {"prop": [PROP], "post": {"cleanup": "6 mm", "rerig": "-1 h", "cleanup_per_megapixel": "1 min"}},
            [
                'post.cleanup: "6 mm" is a length; a time is needed here. Write a time like "4 s".',
                'post.rerig: "-1 h" has to be more than zero.',
                "post.cleanup_per_megapixel: cannot stand beside cleanup. Keep one of the two.",
            ],
        ),
        (
            {"prop": [PROP], "camera": []},
            ["camera: this is a table of its own: the header is [camera], with one bracket."],
        ),
    ],
)
def test_what_is_wrong_with_a_shot(given: dict[str, object], wrong: list[str]) -> None:
    assert says(Shot, **given) == wrong


@pytest.mark.parametrize(
    ("part", "key", "message"),
    [
        (Prop, "weight", 'weight: is not a key of [[prop]]. Did you mean "mass"?'),
        (Prop, "centre_of_mas", 'centre_of_mas: is not a key of [[prop]]. Did you mean "centre_of_mass"?'),
        (Prop, "duration", "duration: is not a key of [[prop]]. It belongs to [[prop.move]]."),
        (Limits, "frame_rate", "frame_rate: is not a key of [limits]. It belongs to [camera]."),
        (Post, "clean_up", 'clean_up: is not a key of [post]. Did you mean "cleanup"?'),
        (Axis, "qqqqqq", "qqqqqq: is not a key of [prop.axis]."),
        (DroopTest, "over-hang", 'over-hang: is not a key of [prop.droop_test]. Did you mean "overhang"?'),
        (Analysis, "from_", "from_: is not a key of [analysis]."),
    ],
)
def test_an_unknown_key_gets_the_nearest_known_one(part: type[Part], key: str, message: str) -> None:
    assert message in says(part, **{key: 1})


def test_the_python_name_of_from_is_no_key() -> None:
    assert says(Support, **WIRE, from_="left") == [
        'from_: is not a key of [[prop.support]]. Did you mean "from"?'
    ]


# -- everything at once, and use from Python -----------------------------------------------------------------


def test_values_and_missing_keys_are_reported_together() -> None:
    wrong = says(
        Shot,
        prop=[
            {
                "name": "a",
                "support": [{"material": "x", "section": "tube", "diameter": "3", "colour": "red"}],
                "move": [{"slide": "1 mm"}],
            }
        ],
    )
    assert [line.split(": ")[0] for line in wrong] == [
        "prop.0.mass",
        "prop.0.support.0.diameter",
        "prop.0.support.0.colour",
        "prop.0.support.0.wall",
        "prop.0.support.0.length",
        "prop.0.move.0.duration",
    ]


def test_parts_are_frozen_and_can_be_built_from_parts() -> None:
    support = Support(
        material="music-wire", diameter=measured(3.0, "mm"), length=registry().Quantity(0.18, "m")
    )
    prop = Prop(name="inkwell", mass=measured(310.0, "g"), support=(support,))
    shot = Shot(prop=(prop,))
    assert shot.prop[0].support[0] is support
    assert support.length is not None
    assert support.length.m_as("mm") == pytest.approx(180.0, rel=1e-15)
    with pytest.raises(ValidationError):
        shot.title = "other"
    longer = support.model_copy(update={"length": measured(200.0, "mm")})
    assert longer.length is not None
    assert longer.length.m_as("mm") == 200.0
    assert says(Support, **{**WIRE, "length": measured(3.0, "kg")}) != []
    assert says(Support, **{**WIRE, "length": measured(-3.0, "mm")}) != []


def test_a_shot_goes_back_to_what_the_file_holds() -> None:
    given = {"title": "", "prop": [{**PROP, "mark": ["1 mm", "2 mm", "3 mm"]}]}
    shot = Shot.model_validate(given)
    written = shot.model_dump(mode="json", by_alias=True, exclude_unset=True)
    assert Shot.model_validate(written) == shot
    assert written["prop"][0]["mark"] == ["1 mm", "2 mm", "3 mm"]


def test_finds_props_and_own_materials() -> None:
    shot = Shot.model_validate({"prop": [PROP, {**PROP, "name": "crane"}], "material": [MATERIAL]})
    assert shot.find_prop("crane") is shot.prop[1]
    with pytest.raises(UnknownNameError) as caught:
        shot.find_prop("inkwel")
    assert str(caught.value) == (
        'no prop is called "inkwel"; the shot has "inkwell" or "crane". Did you mean "inkwell"?'
    )
    assert shot.own_material("shop-rod") is shot.material[0]
    assert shot.own_material("music-wire") is None


def test_implausible_but_possible_is_no_error() -> None:
    assert says(Prop, **{**PROP, "mass": "3 kg", "support": [{**WIRE, "length": "25 m"}]}) == []
