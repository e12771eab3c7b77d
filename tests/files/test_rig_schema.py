"""The form for editors accepts what the reader accepts, and refuses what it can see is wrong."""

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

from rigcheck import stock
from rigcheck.errors import InputError
from rigcheck.files import rig_from_text, schema

HERE = Path(__file__).parent
SMALLEST = (HERE / "smallest.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    form = json.loads(json.dumps(schema()))
    jsonschema.Draft202012Validator.check_schema(form)
    return jsonschema.Draft202012Validator(form)


@pytest.mark.parametrize("name", ["smallest.toml", "whole.toml"])
def test_takes_the_samples_of_the_format(validator, name: str) -> None:
    errors = validator.iter_errors(tomllib.loads((HERE / name).read_text(encoding="utf-8")))
    assert [error.message for error in errors] == []


CHANGES = [
    # What stands in the smallest file, what comes in its place, and whether that is right.
    ('diameter = "3 mm"', 'diameter = "14 SWG"', True),
    ('diameter = "3 mm"', 'diameter = "2/0 awg"', True),
    ('diameter = "3 mm"', 'diameter = "M4"', True),
    ('diameter = "3 mm"', 'diameter = "1 1/8 in +/- 2 %"', True),
    ('diameter = "3 mm"', 'diameter = "3 mm"\nwall = "0.5 mm"', True),
    ('diameter = "3 mm"', 'width = "9 mm"\nthickness = "1 mm"', True),
    ('diameter = "3 mm"', 'diameter = "3 mm"\nfrom = "left"', True),
    ('diameter = "3 mm"', 'diameter = "3 mm"\nroot_stiffness = ["rigid", "1 N*m/rad", "rigid"]', True),
    ('slide = "220 mm"', 'slide = "220 mm"\nalong = [0, 1, 1]', True),
    ('slide = "220 mm"\nduration = "4 s"', 'acceleration = "0.08 g0"', True),
    ('slide = "220 mm"\nduration = "4 s"', 'roll = "90 deg"\nduration = "4 s"\nabout = "up"', True),
    ('diameter = "3 mm"', 'diameter = "3"', False),
    ('diameter = "3 mm"', "diameter = 3", False),
    ('diameter = "3 mm"', 'diameter = "3 g"', False),
    ('diameter = "3 mm"', 'diameter = "2,5 mm"', False),
    ('diameter = "3 mm"', 'diamter = "3 mm"', False),
    ('diameter = "3 mm"', 'diameter = "3 mm"\nsection = "tube"', False),
    ('diameter = "3 mm"', 'diameter = "3 mm"\nsection = "square"', False),
    ('diameter = "3 mm"', 'diameter = "3 mm"\nfrom_ = "left"', False),
    ('diameter = "3 mm"', 'diameter = "3 mm"\nclamp = "collet"\nroot_stiffness = "rigid"', False),
    ('length = "180 mm"', "", False),
    ('length = "180 mm"', 'length = "1 m"\npath = [["0 m","0 m","1 m"],["0 m","0 m","0 m"]]', False),
    ('duration = "4 s"', "", False),
    ('slide = "220 mm"', 'slide = "220 mm"\nroll = "1 deg"', False),
    ('slide = "220 mm"', 'slide = "220 mm"\nalong = "upwards"', False),
    ('slide = "220 mm"', 'slide = "220 mm"\nabout = "up"', False),
    ('slide = "220 mm"', 'slide = "220 mm"\nramp = 0.7', False),
    ('slide = "220 mm"', 'slide = "220 mm"\nramp = 0', False),
    ('mass = "310 g"', 'mass = "310 g"\nmark = ["1 mm", "2 mm"]', False),
    ('mass = "310 g"', 'mass = "310 g"\nshape = "disc"', False),
    ("[[prop]]", "[post]\ncleanup = '6 min'\nrerig = '45 min'\ntake = '600 s'\n[[prop]]", True),
    ("[[prop]]", "[post]\ncleanup_per_megapixel = '2 min'\n[[prop]]", True),
    ("[[prop]]", "[post]\n[[prop]]", True),
    ("[[prop]]", "[post]\ncleanup = '6 min'\ncleanup_per_megapixel = '2 min'\n[[prop]]", False),
    ("[[prop]]", "[post]\ncleanup = 6\n[[prop]]", False),
    ("[[prop]]", "[post]\nclean_up = '6 min'\n[[prop]]", False),
    ("[[prop]]", "format = 2\n[[prop]]", False),
    ("[[prop]]", "[limits]\nhazard = 'fire'\n[[prop]]", False),
    ("[[prop]]", "[camera]\nimage_width = 3840\n[[prop]]", False),
    ("[[prop]]", "[camera]\nimage_width = 3840\nfield_width = '4 cm'\ndistance = '1 m'\n[[prop]]", False),
]


@pytest.mark.parametrize(("old", "new", "right"), CHANGES)
def test_agrees_with_the_reader(validator, old: str, new: str, right: bool) -> None:
    assert old in SMALLEST
    text = SMALLEST.replace(old, new)
    assert validator.is_valid(tomllib.loads(text)) is right
    if right:
        rig_from_text(text)
    else:
        with pytest.raises(InputError):
            rig_from_text(text)


def objects(node: object) -> list[dict]:
    if isinstance(node, list):
        return [found for entry in node for found in objects(entry)]
    if not isinstance(node, dict):
        return []
    return [node, *(found for entry in node.values() for found in objects(entry))]


def test_every_key_is_described_and_every_value_key_has_an_example() -> None:
    form = schema()
    tables = [node for node in objects(form) if "properties" in node and "if" not in node]
    keys = [
        (key, entry) for table in tables for key, entry in table["properties"].items() if "const" not in entry
    ]
    assert len(keys) > 80
    for key, entry in keys:
        assert entry.get("description"), key
        of_tables = "$defs" in json.dumps(entry) and "examples" not in entry
        assert of_tables or entry.get("examples"), key


def test_examples_of_quantities_fit_their_own_pattern() -> None:
    form = schema()
    checked = 0
    for node in objects(form):
        name = node.get("$ref", "").removeprefix("#/$defs/")
        pattern = form["$defs"].get(name, {}).get("pattern")
        if pattern:
            for text in node["examples"]:
                assert re.search(pattern, text), (name, text)
                checked += 1
    assert checked > 40


def test_offers_the_names_of_the_stock() -> None:
    definitions = schema()["$defs"]
    assert "music-wire" in definitions["Support"]["properties"]["material"]["examples"]
    assert definitions["Support"]["properties"]["clamp"]["examples"] == list(stock.names("clamp"))
    assert definitions["Insert"]["properties"]["material"]["examples"] == list(stock.names("sheet"))
    assert "enum" not in definitions["Support"]["properties"]["material"]


def test_has_nothing_that_toml_cannot_write() -> None:
    text = json.dumps(schema())
    assert '"null"' not in text
    assert "x-shared" not in text
