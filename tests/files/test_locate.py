"""The line of every key, in all the ways TOML can write it."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.files.locate import KeyPath, Place, locate

TEXT = '''# a comment with = and [brackets]
title = "a # no comment"   # a comment

[camera]
field_width = "420 mm"
lens.focal = "50 mm"
"quoted key" = 'literal # text'
'other.key' = 1

[[prop]]
name = """
several
lines "quoted" """""
mark = [
  "1 mm",   # first
  "2 mm",

  "3 mm",
]
  [prop.insert]
  size = ["9 mm", "7 mm"]
  [[prop.support]]
  path = [["0 mm","0 mm","-1 mm"],
    ["0 mm", "0 mm", "0 mm"]]
  [[prop.support]]
  sleeve = [{ material = "brass", end = "9 mm" }, {material="steel"}]
    [[prop.support.sleeve2]]
    end = 1.5e3
[[prop]]
droop_test = { overhang = "80 mm", droop = "15 mm" }
[prop.axis]
payload = "3 kg"
  [[prop.support]]
  when = 1979-05-27 07:32:00
'''

EXPECTED: dict[KeyPath, tuple[int, str | None]] = {
    ("title",): (2, '"a # no comment"'),
    ("camera",): (4, None),
    ("camera", "field_width"): (5, '"420 mm"'),
    ("camera", "lens"): (6, None),
    ("camera", "lens", "focal"): (6, '"50 mm"'),
    ("camera", "quoted key"): (7, "'literal # text'"),
    ("camera", "other.key"): (8, "1"),
    ("prop", 0): (10, None),
    ("prop", 0, "name"): (11, '"""\nseveral\nlines "quoted" """""'),
    ("prop", 0, "mark", 0): (15, '"1 mm"'),
    ("prop", 0, "mark", 2): (18, '"3 mm"'),
    ("prop", 0, "insert"): (20, None),
    ("prop", 0, "insert", "size", 1): (21, '"7 mm"'),
    ("prop", 0, "support", 0, "path", 0, 2): (23, '"-1 mm"'),
    ("prop", 0, "support", 0, "path", 1): (24, '["0 mm", "0 mm", "0 mm"]'),
    ("prop", 0, "support", 1): (25, None),
    ("prop", 0, "support", 1, "sleeve", 0, "end"): (26, '"9 mm"'),
    ("prop", 0, "support", 1, "sleeve", 1, "material"): (26, '"steel"'),
    ("prop", 0, "support", 1, "sleeve2", 0, "end"): (28, "1.5e3"),
    ("prop", 1): (29, None),
    ("prop", 1, "droop_test", "droop"): (30, '"15 mm"'),
    ("prop", 1, "axis", "payload"): (32, '"3 kg"'),
    ("prop", 1, "support", 0, "when"): (34, "1979-05-27 07:32:00"),
}


@pytest.mark.parametrize(("path", "place"), EXPECTED.items(), ids=str)
def test_finds_the_line_and_what_was_typed(path: KeyPath, place: tuple[int, str | None]) -> None:
    assert locate(TEXT)[path] == Place(line=place[0], typed=place[1])


def every_path(value: object, path: KeyPath = ()) -> set[KeyPath]:
    found = {path} if path else set()
    if isinstance(value, dict):
        found |= {inner for key, entry in value.items() for inner in every_path(entry, (*path, key))}
    elif isinstance(value, list):
        found |= {inner for index, entry in enumerate(value) for inner in every_path(entry, (*path, index))}
    return found


@pytest.mark.parametrize(
    "text", [TEXT, *(path.read_text(encoding="utf-8") for path in Path(__file__).parent.glob("*.toml"))]
)
def test_finds_exactly_the_paths_that_the_reader_finds(text: str) -> None:
    assert set(locate(text)) == every_path(tomllib.loads(text))


strings = st.text(alphabet="ab\"\\#[]{}=,. \n'é", max_size=12)


@given(st.lists(strings, min_size=1, max_size=5), st.lists(strings, max_size=4, unique=True))
def test_any_string_and_any_quoted_key(values: list[str], keys: list[str]) -> None:
    def quoted(text: str) -> str:
        escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
        return f'"{escaped}"'

    text = f"list = [{', '.join(map(quoted, values))}] # end\n"
    text += "".join(f"{quoted('k' + key)} = {{ x = {quoted(key)} }}\n" for key in keys)
    places = locate(text)
    assert set(places) == every_path(tomllib.loads(text))
    for line, key in enumerate(keys, start=2):
        assert places["k" + key, "x"] == Place(line=line, typed=quoted(key))
