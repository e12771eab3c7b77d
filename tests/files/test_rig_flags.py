"""A shot from flags is the shot from a file, and its problems name the flags."""

import pytest

from rigcheck.errors import InputError
from rigcheck.files import FLAGS, rig_from_flags, rig_from_text

QUICK = {
    "material": "music-wire",
    "diameter": "3mm",
    "length": "180mm",
    "mass": "310g",
    "slide": "220mm",
    "duration": "4s",
}


def test_the_quick_question_is_the_smallest_file() -> None:
    shot = rig_from_flags(QUICK)
    prop = shot.prop[0]
    assert (prop.name, prop.mass.m_as("g")) == ("prop", 310.0)
    assert prop.support[0].diameter.m_as("mm") == 3.0
    assert (prop.move[0].slide.m_as("mm"), prop.move[0].duration.m_as("s")) == (220.0, 4.0)


def test_every_flag_reaches_its_place(tmp_path) -> None:
    flags = {
        **QUICK,
        "title": "quick",
        "name": "crane",
        "wall": "0.5 mm",
        "from": "left",
        "root-stiffness": "rigid, 12 N*m/rad, rigid",
        "grip": "15 mm",
        "embed": "40 mm",
        "tension": "20 N",
        "centre_of_mass": "0 mm, 0 mm, 12 mm",
        "size": "52 mm,45 mm,52 mm",
        "shape": "disc",
        "along": "0, 1, 1",
        "profile": "harmonic",
        "start": "1 s",
        "ramp": "0.25",
        "hazard": "hands",
        "wobble": "0.5",
        "takes": "12",
        "sag": "5 mm",
        "field_width": "420 mm",
        "image_width": "3840",
        "frame_rate": "50 fps",
        "modes": 8,
        "shear": "false",
        "payload": "3 kg",
        "stiffness": "200 N*m/rad",
        "wires": None,
    }
    text = """
    title = "quick"
    [camera]
    field_width = "420 mm"
    image_width = 3840
    frame_rate = "50 fps"
    [limits]
    hazard = "hands"
    wobble = 0.5
    takes = 12
    sag = "5 mm"
    [analysis]
    modes = 8
    shear = false
    [[prop]]
    name = "crane"
    mass = "310g"
    centre_of_mass = ["0 mm", "0 mm", "12 mm"]
    size = ["52 mm", "45 mm", "52 mm"]
    shape = "disc"
    [prop.axis]
    payload = "3 kg"
    stiffness = "200 N*m/rad"
    [[prop.support]]
    material = "music-wire"
    diameter = "3mm"
    length = "180mm"
    wall = "0.5 mm"
    from = "left"
    root_stiffness = ["rigid", "12 N*m/rad", "rigid"]
    grip = "15 mm"
    embed = "40 mm"
    tension = "20 N"
    [[prop.move]]
    slide = "220mm"
    duration = "4s"
    along = [0, 1, 1]
    profile = "harmonic"
    start = "1 s"
    ramp = 0.25
    """
    assert rig_from_flags(flags) == rig_from_text(text)


def test_a_slide_and_a_roll_are_two_moves_at_once() -> None:
    slide, roll = rig_from_flags({**QUICK, "roll": "180 deg", "about": "up", "along": "right"}).prop[0].move
    assert (slide.kind, slide.along, slide.duration.m_as("s")) == ("slide", (1.0, 0.0, 0.0), 4.0)
    assert (roll.kind, roll.about, roll.duration.m_as("s")) == ("roll", (0.0, 1.0, 0.0), 4.0)


def test_no_move_is_a_prop_that_stands_still() -> None:
    still = {key: value for key, value in QUICK.items() if key not in ("slide", "duration")}
    assert rig_from_flags(still).prop[0].move == ()


WRONG = [
    ({"diameter": "3"}, ['--diameter = 3: "3" has no unit; a length needs one. Write "3 mm".']),
    (
        {"length": None},
        ['--length: is missing: the free length from the jaw to the tip. Add --length "180 mm".'],
    ),
    ({"mass": None}, ['--mass: is missing. Add --mass "310 g".']),
    ({"duration": None}, ['--duration: is missing: a slide needs the time it takes. Add --duration "4 s".']),
    ({"diametre": "3 mm"}, ['--diametre: there is no such flag. Did you mean "diameter"?']),
    (
        {"root_stiffness": "rigid", "clamp": "collet"},
        [
            (
                "--root-stiffness = rigid: cannot stand beside clamp, which has a stiffness of its own. "
                "Keep one of the two."
            )
        ],
    ),
    (
        {"wires": "many"},
        ["--wires = many: has to be a whole number, 2 to 169, without quotes or unit."],
    ),
    ({"wobble": "nan"}, ["--wobble = nan: has to be a plain number, above 0 to 10000."]),
    (
        {"along": "0,x,1"},
        [
            (
                "--along = 0,x,1: is not a direction: right, left, up, down, toward or away, or a vector of "
                "three plain numbers. Write [0, 1, 1] for halfway between up and toward."
            )
        ],
    ),
    (
        {"image_width": "3840"},
        [
            (
                "--field-width: is missing: the picture's scale is not known. "
                'Add --field-width "420 mm", or distance, focal_length and sensor_width.'
            )
        ],
    ),
    # One flag, one problem, though two moves want it.
    (
        {"roll": "90 deg", "duration": None},
        ['--duration: is missing: a roll needs the time it takes. Add --duration "4 s".'],
    ),
    (
        {"roll": "90 deg", "duration": "4"},
        ['--duration = 4: "4" has no unit; a time needs one. Write "4 s".'],
    ),
]


@pytest.mark.parametrize(("change", "wrong"), WRONG)
def test_problems_name_their_flags(change: dict[str, object], wrong: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        rig_from_flags({**QUICK, **change})
    assert [str(problem) for problem in caught.value.problems] == wrong
    assert all(problem.line is None for problem in caught.value.problems)


def test_all_problems_at_once() -> None:
    with pytest.raises(InputError) as caught:
        rig_from_flags({"diameter": "3", "slide": "4 g", "foo": 1})
    where = {problem.where for problem in caught.value.problems}
    assert where == {"--foo", "--diameter", "--slide", "--material", "--mass", "--length", "--duration"}


def test_flags_are_the_keys_of_the_file() -> None:
    assert {"material", "from", "field_width", "slide", "mass", "hazard"} <= set(FLAGS)
    assert "path" not in FLAGS
    assert "sleeve" not in FLAGS
