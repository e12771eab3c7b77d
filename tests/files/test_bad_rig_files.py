"""Bad rig files: every kind with everything that is said about it, and none that ends in a traceback."""

import re
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigcheck import stock
from rigcheck.errors import InputError, UnknownNameError
from rigcheck.files import LARGEST_FILE, read_rig, rig_from_text

HERE = Path(__file__).parent
SMALLEST = (HERE / "smallest.toml").read_text(encoding="utf-8")
WHOLE = (HERE / "whole.toml").read_text(encoding="utf-8")


def changed(old: str, new: str) -> str:
    """Give the smallest file with one thing in it replaced."""
    assert old in SMALLEST
    return SMALLEST.replace(old, new)


class Bad(NamedTuple):
    """A kind of mistake, a file with it, and the line for each problem."""

    kind: str
    text: str
    says: list[str]


BAD = [
    Bad(
        "a number without a unit",
        changed('"180 mm"', "180"),
        [
            (
                'line 8, prop "inkwell" > support > length = 180: 180 has no unit; a length needs '
                'one. Write "180 mm".'
            )
        ],
    ),
    Bad(
        "a text without a unit",
        changed('"180 mm"', '"180"'),
        [
            (
                'line 8, prop "inkwell" > support > length = "180": "180" has no unit; a length '
                'needs one. Write "180 mm".'
            )
        ],
    ),
    Bad(
        "a quantity without quotes",
        changed('"180 mm"', "180 mm"),
        [
            (
                "line 8, length = 180 mm: column 14: a number with a unit stands in quotes. Write "
                'length = "180 mm".'
            )
        ],
    ),
    Bad(
        "a decimal comma in quotes",
        changed('"3 mm"', '"2,5 mm"'),
        [
            (
                'line 7, prop "inkwell" > support > diameter = "2,5 mm": "2,5 mm" has a comma; '
                'decimals are written with a point. Write "2.5 mm".'
            )
        ],
    ),
    Bad(
        "a decimal comma without quotes",
        changed('"3 mm"', "2,5 mm"),
        [
            (
                "line 7, diameter = 2,5 mm: column 13: decimals are written with a point, and a "
                'number with a unit stands in quotes. Write diameter = "2.5 mm".'
            )
        ],
    ),
    Bad(
        "a plain number with a comma",
        changed(
            "[[prop]]",
            """\
[limits]
wobble = 0,5

[[prop]]""",
        ),
        ["line 2, wobble = 0,5: column 11: decimals are written with a point. Write wobble = 0.5."],
    ),
    Bad(
        "a word without quotes",
        changed('"music-wire"', "music-wire"),
        [
            (
                "line 6, material = music-wire: column 12: a text stands in quotes. Write material = "
                '"music-wire".'
            )
        ],
    ),
    Bad(
        "a missing quotation mark",
        changed('"music-wire"', '"music-wire'),
        [
            (
                'line 6, material = "music-wire: column 23: a quotation mark is missing. Write '
                'material = "music-wire".'
            )
        ],
    ),
    Bad(
        "curly quotes",
        changed('"310 g"', "“310 g”"),
        ['line 3, mass = “310 g”: column 8: curly quotes are not read. Write mass = "310 g".'],
    ),
    Bad(
        "a colon for the equals sign",
        changed('mass = "310 g"', "mass: 310 g"),
        [
            (
                "line 3, mass = 310 g: column 5: a key and its value are joined by =, not by a "
                'colon. Write mass = "310 g".'
            )
        ],
    ),
    Bad(
        "a key without a value",
        changed('mass = "310 g"', "mass ="),
        [('line 3, mass: column 7: the value is missing. Write it after the =, for example mass = "310 g".')],
    ),
    Bad(
        "two keys on a line",
        changed('slide = "220 mm"', 'slide = "220 mm"; along = "up"'),
        [
            (
                'line 11, slide = "220 mm"; along = "up": column 17: there is more than one key on '
                "this line. Give each key a line of its own."
            )
        ],
    ),
    Bad(
        "a key given twice",
        changed('mass = "310 g"', 'mass = "310 g"\nmass = "300 g"'),
        [
            (
                'line 4, mass = "300 g": column 15: this key is given twice in the same table. Keep '
                "one of the two."
            )
        ],
    ),
    Bad(
        "a table opened twice",
        """\
[camera]
image_width = 3840
[camera]
field_width = "1 m"
"""
        + SMALLEST,
        [
            (
                "line 3, text = [camera]: column 8: the table [camera] is opened twice. Put all its "
                "keys under one header."
            )
        ],
    ),
    Bad(
        "a header not closed",
        changed("[[prop.support]]", "[[prop.support]"),
        [
            (
                "line 5, text = [[prop.support]: column 15: this header is not closed as it was "
                "opened. Write [[prop.support]]."
            )
        ],
    ),
    Bad(
        "one bracket where two are needed",
        changed("[[prop.support]]", "[prop.support]"),
        [
            (
                'line 5, prop "inkwell" > support: there can be several of these: the header is '
                "[[prop.support]], with two brackets."
            )
        ],
    ),
    Bad(
        "two brackets where one is needed",
        """\
[[camera]]
field_width = "420 mm"
image_width = 3840

"""
        + SMALLEST,
        ["line 1, camera: this is a table of its own: the header is [camera], with one bracket."],
    ),
    Bad(
        "brackets that change",
        changed("[[prop.move]]", '[prop]\nmass = "1 g"\n[[prop.move]]'),
        [
            (
                "line 10, text = [prop]: column 6: [[prop]] stands above with other brackets. Write "
                "[[prop]] both times."
            )
        ],
    ),
    Bad(
        "a line that is nothing",
        changed("[[prop.move]]", "the move\n[[prop.move]]"),
        [
            (
                "line 10, text = the move: column 5: this is no comment, no [header] and no key with "
                "its value (expected '=' after a key in a key/value pair). Write comments after #, "
                'and values like length = "180 mm".'
            )
        ],
    ),
    Bad(
        "a list not closed",
        changed('mass = "310 g"', 'mass = "310 g"\nmark = ["1 mm", "2 mm", "3 mm"'),
        [
            (
                'line 4, mark = ["1 mm", "2 mm", "3 mm": column 8: the list is not closed. Write '
                "mark = [..., ...] with as many ] as [."
            )
        ],
    ),
    Bad(
        "quantities in a list without quotes",
        changed('mass = "310 g"', 'mass = "310 g"\nmark = [1 mm, 2 mm, 3 mm]'),
        [
            (
                "line 4, mark = [1 mm, 2 mm, 3 mm]: column 8: a quantity in the list has no quotes. "
                'Write each like "1 mm".'
            )
        ],
    ),
    Bad(
        "a backslash",
        changed('slide = "220 mm"\nduration = "4 s"', 'keys = "keys\\a.csv"\nslide = "mm"'),
        [
            (
                'line 11, keys = "keys\\a.csv": column 15: a backslash in quotes has a meaning of its '
                "own. Write / between folders."
            )
        ],
    ),
    Bad(
        "true with a capital",
        """\
[analysis]
shear = False

"""
        + SMALLEST,
        [
            (
                "line 2, shear = False: column 9: true and false are written in small letters. Write "
                "shear = false."
            )
        ],
    ),
    Bad(
        "lists nested too deep",
        "x = " + "[" * 5000,
        ["the file: the lists or tables are nested too deep to be read."],
    ),
    Bad(
        "a number of thousands of digits",
        "x = " + "9" * 5000,
        ["the file: a number in it has too many digits to be read."],
    ),
    Bad(
        "a misspelt key",
        changed("diameter", "diamter"),
        [
            (
                'line 5, prop "inkwell" > support > diameter: is missing: a round section has '
                'diameter. Add diameter = "3 mm".'
            ),
            (
                'line 7, prop "inkwell" > support > diamter = "3 mm": is not a key of '
                '[[prop.support]]. Did you mean "diameter"?'
            ),
        ],
    ),
    Bad(
        "a key of another table",
        changed('length = "180 mm"', 'length = "180 mm"\nduration = "4 s"'),
        [
            (
                'line 9, prop "inkwell" > support > duration = "4 s": is not a key of '
                "[[prop.support]]. It belongs to [[prop.move]]."
            )
        ],
    ),
    Bad(
        "a key under another name",
        changed("mass", "weight"),
        [
            'line 1, prop "inkwell" > mass: is missing. Add mass = "310 g".',
            ('line 3, prop "inkwell" > weight = "310 g": is not a key of [[prop]]. Did you mean "mass"?'),
        ],
    ),
    Bad(
        "a misspelt word",
        changed('slide = "220 mm"', 'slide = "220 mm"\nprofile = "trapezoid"'),
        [
            (
                'line 12, prop "inkwell" > move > profile = "trapezoid": has to be trapezoidal, '
                "s-curve, harmonic, cycloidal, modified-sine, polynomial-345 or polynomial-4567. Did "
                'you mean "trapezoidal"?'
            )
        ],
    ),
    Bad(
        "a misspelt unit",
        changed('"3 mm"', '"3 milimeter"'),
        [
            (
                'line 7, prop "inkwell" > support > diameter = "3 milimeter": the unit "milimeter" '
                'is not known. Write "3 millimeter".'
            )
        ],
    ),
    Bad(
        "a unit of another dimension",
        changed('"3 mm"', '"3 g"'),
        [
            (
                'line 7, prop "inkwell" > support > diameter = "3 g": "3 g" is a mass; a length is '
                'needed here. Write a length like "180 mm".'
            )
        ],
    ),
    Bad(
        "nothing or less",
        changed('"310 g"', '"-310 g"'),
        ['line 3, prop "inkwell" > mass = "-310 g": "-310 g" has to be more than zero.'],
    ),
    Bad(
        "not a number",
        changed('"310 g"', '"nan g"'),
        [
            (
                'line 3, prop "inkwell" > mass = "nan g": "nan g" is not a finite number. Write a '
                'mass like "310 g".'
            )
        ],
    ),
    Bad(
        "infinity as a ratio",
        """\
[limits]
wobble = inf

"""
        + SMALLEST,
        ["line 2, limits > wobble = inf: has to be a plain number, above 0 to 10000."],
    ),
    Bad(
        "a gauge that is not named",
        changed('"3 mm"', '"18 gauge"'),
        [
            (
                'line 7, prop "inkwell" > support > diameter = "18 gauge": "18 gauge" does not say '
                "which gauge: 18 AWG 1.02 mm, 18 SWG 1.22 mm, 18 MWG 1.04 mm (MWG is music wire). "
                'Write the gauge, for example "18 AWG", or the diameter in mm.'
            )
        ],
    ),
    Bad(
        "missing keys",
        """\
[[prop]]
name = "inkwell"

[[prop.support]]
material = "music-wire"

[[prop.move]]
""",
        [
            'line 1, prop "inkwell" > mass: is missing. Add mass = "310 g".',
            (
                'line 4, prop "inkwell" > support > diameter: is missing: a round section has '
                'diameter. Add diameter = "3 mm".'
            ),
            (
                'line 4, prop "inkwell" > support > length: is missing: the free length from the jaw '
                'to the tip. Add length = "180 mm".'
            ),
            (
                'line 7, prop "inkwell" > move > slide: is missing: a move has a slide, a roll, an '
                'acceleration or keys. Add slide = "220 mm".'
            ),
        ],
    ),
    Bad(
        "no prop",
        'title = "empty"\n',
        ['prop: is missing: a shot has at least one. Add [[prop]] with name = "inkwell".'],
    ),
    Bad(
        "no support",
        """\
[[prop]]
name = "inkwell"
mass = "310 g"
""",
        [
            (
                'line 1, prop "inkwell" > support: is missing: a prop hangs on at least one. Add '
                "[[prop.support]] under it."
            )
        ],
    ),
    Bad(
        "keys that exclude each other",
        changed(
            'length = "180 mm"',
            """\
length = "180 mm"
clamp = "collet"
root_stiffness = "rigid"
path = [["0 mm", "0 mm", "-1 mm"], ["0 mm", "0 mm", "0 mm"]]""",
        ),
        [
            (
                'line 8, prop "inkwell" > support > length = "180 mm": cannot stand beside path, '
                "which says it already. Leave length or path out."
            ),
            (
                'line 10, prop "inkwell" > support > root_stiffness = "rigid": cannot stand beside '
                "clamp, which has a stiffness of its own. Keep one of the two."
            ),
        ],
    ),
    Bad(
        "a wall thicker than its tube",
        changed('"3 mm"', '"3 mm"\nwall = "2 mm"'),
        ['line 8, prop "inkwell" > support > wall = "2 mm": is more than half the diameter "3 mm".'],
    ),
    Bad(
        "a sleeve beyond the support",
        changed(
            "[[prop.move]]",
            """\
[[prop.support.sleeve]]
material = "music-wire"
diameter = "5 mm"
wall = "1 mm"
end = "200 mm"

[[prop.move]]""",
        ),
        [
            (
                'line 14, prop "inkwell" > support > sleeve > end = "200 mm": is beyond the support, '
                "which is 180 mm long."
            )
        ],
    ),
    Bad(
        "the same name twice",
        SMALLEST + SMALLEST,
        [
            (
                'line 14, prop "inkwell" > name = "inkwell": is the name of an earlier one too. Give '
                "each a name of its own."
            )
        ],
    ),
    Bad(
        "a vector of zeros",
        changed('slide = "220 mm"', 'slide = "220 mm"\nalong = [0, 0, 0]'),
        [
            (
                'line 12, prop "inkwell" > move > along = [0, 0, 0]: a vector of zeros has no '
                "direction. Write [0, 1, 0] for up."
            )
        ],
    ),
    Bad(
        "a file outside the folder",
        changed('slide = "220 mm"\nduration = "4 s"', 'keys = "/etc/passwd"\nslide = "mm"'),
        [
            (
                'line 11, prop "inkwell" > move > keys = "/etc/passwd": lies outside the folder of '
                "the rig file. Copy it there and give its name alone."
            )
        ],
    ),
    Bad(
        "a file that is not there",
        changed('slide = "220 mm"\nduration = "4 s"', 'keys = "none.csv"\nslide = "mm"'),
        [
            (
                'line 11, prop "inkwell" > move > keys = "none.csv": is not there. It has to lie in '
                "the folder of the rig file."
            )
        ],
    ),
    Bad("a format of the future", "format = 2\n" + SMALLEST, ["line 1, format = 2: has to be the number 1."]),
    Bad(
        "a date",
        changed('name = "inkwell"', "name = 2026-11-25"),
        ["line 2, prop > name = 2026-11-25: has to be a text in quotes."],
    ),
    Bad(
        "a table where a value is needed",
        changed('mass = "310 g"', 'mass = { value = 310, unit = "g" }'),
        [
            (
                'line 3, prop "inkwell" > mass = { value = 310, unit = "g" }: a mass is a text of '
                'number and unit in quotes. Write it like "310 g".'
            )
        ],
    ),
    Bad(
        "a value where a table is needed",
        'camera = "none"\n' + SMALLEST,
        [('line 1, camera = "none": this is a table of its own: the header is [camera], with one bracket.')],
    ),
    Bad(
        "a value where tables are needed",
        'prop = "inkwell"\n',
        ['line 1, prop = "inkwell": is not a list; it is written as [[prop]].'],
    ),
    Bad(
        "a quoted key with odd characters",
        changed('mass = "310 g"', 'mass = "310 g"\n"a\\u0007b" = 1'),
        ["line 4, prop \"inkwell\" > 'a\\x07b' = 1: is not a key of [[prop]]."],
    ),
    Bad(
        "nothing at all",
        "",
        [('the file: is empty. A shot needs at least one [[prop]]; "rigcheck start" writes a first file.')],
    ),
    Bad(
        "only comments",
        "# title = 'x'\n\n",
        [('the file: is empty. A shot needs at least one [[prop]]; "rigcheck start" writes a first file.')],
    ),
    Bad(
        "several at once",
        """\
[camera]
field_width = 420 mm
image_width = "3840"

[[prop]]
name = "inkwell"
mass = "310"

[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 MM"

[[prop]]
name = "notebook"
mass = "0.2 kg"

[[prop.support]]
material = "music-wire"
diameter = "2 mm"

[[prop.support]]
material = "music-wire"
diameter = "2 mm"
lenght = "90 mm"
""",
        [
            (
                "line 2, field_width = 420 mm: column 19: a number with a unit stands in quotes. "
                'Write field_width = "420 mm".'
            ),
            (
                'line 3, camera > image_width = "3840": has to be a whole number, 16 to 100000, '
                "without quotes or unit."
            ),
            ('line 7, prop "inkwell" > mass = "310": "310" has no unit; a mass needs one. Write "310 g".'),
            (
                'line 12, prop "inkwell" > support > length = "180 MM": the unit "MM" is not known. '
                'Write "180 mm".'
            ),
            (
                'line 18, prop "notebook" > support 1 > length: is missing: the free length from the '
                'jaw to the tip. Add length = "180 mm".'
            ),
            (
                'line 22, prop "notebook" > support 2 > length: is missing: the free length from the '
                'jaw to the tip. Add length = "180 mm".'
            ),
            (
                'line 25, prop "notebook" > support 2 > lenght = "90 mm": is not a key of '
                '[[prop.support]]. Did you mean "length"?'
            ),
        ],
    ),
]


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.kind)
def test_says_what_is_wrong_where_and_what_to_do(bad: Bad) -> None:
    with pytest.raises(InputError) as caught:
        rig_from_text(bad.text, source="rig.toml")
    count = f"{len(bad.says)} problem" + "s" * (len(bad.says) != 1)
    assert str(caught.value) == "\n".join([f"rig.toml: {count}", *(f"  {line}" for line in bad.says)])
    # Raised bare: what the reader met on the way is no business of the person's.
    assert caught.value.__cause__ is None


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.kind)
def test_line_ends_of_other_editors_change_nothing(bad: Bad) -> None:
    with pytest.raises(InputError) as caught:
        rig_from_text(bad.text.replace("\n", "\r\n"))
    assert [str(problem) for problem in caught.value.problems] == bad.says


def test_there_are_enough_kinds() -> None:
    assert len({bad.kind for bad in BAD}) >= 25


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.kind)
def test_every_line_named_is_a_line_of_the_file(bad: Bad) -> None:
    with pytest.raises(InputError) as caught:
        rig_from_text(bad.text)
    lines = bad.text.split("\n")
    for problem in caught.value.problems:
        if problem.line is not None and problem.given is not None:
            assert problem.given[:5] in lines[problem.line - 1]


# -- names, as the stock words them --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("find", "name", "text", "line", "where"),
    [
        (
            stock.find_material,
            "musik-wire",
            changed('"music-wire"', '"musik-wire"'),
            6,
            'prop "inkwell" > support > material',
        ),
        (
            stock.find_clamp,
            "colet",
            changed('length = "180 mm"', 'length = "180 mm"\nclamp = "colet"'),
            9,
            'prop "inkwell" > support > clamp',
        ),
        (
            stock.find_sheet,
            "graybord",
            WHOLE.replace('"greyboard"', '"graybord"'),
            None,
            'prop "inkwell" > insert > material',
        ),
        (
            stock.find_material,
            "bras",
            WHOLE.replace('"brass-c260"', '"bras"'),
            None,
            'prop "inkwell" > support > sleeve > material',
        ),
    ],
)
def test_a_name_that_is_not_in_stock(find, name: str, text: str, line: int | None, where: str) -> None:
    with pytest.raises(UnknownNameError) as unknown:
        find(name)
    with pytest.raises(InputError) as caught:
        rig_from_text(text)
    (problem,) = caught.value.problems
    assert (problem.where, problem.given, problem.says) == (where, f'"{name}"', str(unknown.value))
    assert line is None or problem.line == line


def test_a_name_used_often_is_looked_up_once(monkeypatch) -> None:
    asked = []

    def find(name: str) -> object:
        asked.append(name)
        raise UnknownNameError(f"no {name}")

    monkeypatch.setattr(stock, "find_material", find)
    support = '[[prop.support]]\nmaterial = "x"\ndiameter = "1 mm"\nlength = "1 m"\n'
    with pytest.raises(InputError) as caught:
        rig_from_text('[[prop]]\nname = "a"\nmass = "1 g"\n' + support * 3)
    assert [problem.says for problem in caught.value.problems] == ["no x"] * 3
    assert asked == ["x"]


# -- files that are no text, or not there --------------------------------------------------------------------


def whole(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_rig(path)
    assert caught.value.source == str(path)
    (problem,) = caught.value.problems
    return str(problem)


def test_a_file_that_is_missing(tmp_path) -> None:
    assert whole(tmp_path / "desk.toml") == "the file: there is no such file."
    (tmp_path / "desk-set.toml").write_text(SMALLEST)
    for typed in ("desk_set.toml", "desk-set", "desk-sett.toml"):
        hint = f'Did you mean "{tmp_path / "desk-set.toml"}"?'
        assert whole(tmp_path / typed) == f"the file: there is no such file. {hint}"


def test_a_folder(tmp_path) -> None:
    assert whole(tmp_path) == "the file: is a folder; a rig file is needed."
    (tmp_path / "rig.toml").write_text(SMALLEST)
    hint = f'Did you mean "{tmp_path / "rig.toml"}"?'
    assert whole(tmp_path) == f"the file: is a folder; a rig file is needed. {hint}"


def test_a_file_that_is_not_utf_8(tmp_path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(b'title = "ok"\n# caf\xe9\n' + SMALLEST.encode())
    assert whole(path) == "line 2, text: this is not UTF-8 text. Save the file as plain text in UTF-8."


def test_a_file_that_is_too_large(tmp_path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(b"#" * (LARGEST_FILE + 1))
    assert whole(path) == "the file: is too large: a rig file has at most 1,000,000 bytes."
    with pytest.raises(InputError, match="is too large"):
        rig_from_text("#" * (LARGEST_FILE + 1))
    path.write_text("#" * (LARGEST_FILE - len(SMALLEST) - 1) + "\n" + SMALLEST)
    assert read_rig(path).prop[0].name == "inkwell"


def test_a_name_no_file_can_have(tmp_path) -> None:
    assert whole(tmp_path / "a\0b") == "the file: cannot be opened: embedded null byte."
    assert whole(tmp_path / ("a" * 5000)) == "the file: cannot be opened: file name too long."


def test_a_path_through_a_file(tmp_path) -> None:
    (tmp_path / "rig.toml").write_text(SMALLEST)
    assert whole(tmp_path / "rig.toml" / "x") == "the file: cannot be opened: not a directory."


# -- whatever is typed ---------------------------------------------------------------------------------------


def read_or_refuse(text: str) -> None:
    """Read a text; refuse it in words, or not at all."""
    try:
        rig_from_text(text)
    except InputError as error:
        lines = [problem.line for problem in error.problems if problem.line is not None]
        assert lines == sorted(lines)


@settings(max_examples=300)
@given(st.integers(0, len(WHOLE)), st.integers(0, 30), st.text(alphabet="ab=[]{}\"'#,.\\ \n0é\0", max_size=8))
def test_any_slip_of_the_pen_is_refused_in_words(at: int, gone: int, typed: str) -> None:
    read_or_refuse(WHOLE[:at] + typed + WHOLE[at + gone :])


values = st.recursive(
    st.sampled_from(['"1 mm"', '"x"', "1", "-1.5", "nan", "true", "[]", "{}", "1979-05-27", '""', "[[1]]"]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda parts: f"[{', '.join(parts)}]"),
        st.lists(inner, max_size=2).map(
            lambda parts: "{" + ", ".join(f"name{number} = {part}" for number, part in enumerate(parts)) + "}"
        ),
    ),
    max_leaves=4,
)
KEYS = sorted(set(re.findall(r"^ *#? *([a-z_]+) = ", WHOLE, re.MULTILINE)))


@settings(max_examples=300)
@given(st.sampled_from(KEYS), values)
def test_any_value_for_any_key_is_read_or_refused_in_words(key: str, value: str) -> None:
    text = re.sub(rf"^( *){key} = .*$", rf"\g<1>{key} = {value}", WHOLE, flags=re.MULTILINE)
    read_or_refuse(text)


@settings(max_examples=100)
@given(values, values, values)
def test_any_tables_are_read_or_refused_in_words(prop: str, camera: str, support: str) -> None:
    read_or_refuse(f"prop = {prop}\ncamera = {camera}\nlimits = {support}\n")
    read_or_refuse(f'prop = [{{ name = "a", support = {support}, move = {prop}, insert = {camera} }}]')


@pytest.mark.parametrize("depth", [10, 50, 100, 150, 200, 250, 300, 400, 600, 900])
def test_nesting_of_any_depth_is_refused_in_words(depth: int) -> None:
    with pytest.raises(InputError):
        rig_from_text(SMALLEST + "x = " + "[" * depth + "]" * depth)
