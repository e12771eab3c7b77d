"""``import rigcheck``: the same answers as on the command line, with quantities, and as plain data."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import pint
import pytest
from click.testing import CliRunner

import rigcheck
from rigcheck.cli import commands
from rigcheck.errors import ArgumentError

CHECKOUT = Path(__file__).parents[1]
SHOT = CHECKOUT / "shared" / "shots" / "desk-set.toml"
TAKE = CHECKOUT / "shared" / "takes" / "notebook-take.csv"
RIG = {
    "prop": [
        {
            "name": "inkwell",
            "mass": "310 g",
            "support": [{"material": "music-wire", "diameter": "3 mm", "length": "180 mm"}],
            "move": [{"slide": "220 mm", "duration": "4 s"}],
        }
    ]
}


def python(code: str, *, script: bool = False) -> str:
    words = [code] if script else ["-c", code]
    done = subprocess.run(
        [sys.executable, "-W", "error", *words],
        cwd=CHECKOUT,
        env={"PYTHONPATH": str(CHECKOUT), "PATH": ""},
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("name", rigcheck.__all__)
def test_every_public_name_is_there_and_described(name):
    value = getattr(rigcheck, name)
    assert name == "__version__" or value.__doc__
    assert name in dir(rigcheck)


def test_a_name_that_is_not_there():
    with pytest.raises(AttributeError, match="chekc"):
        rigcheck.chekc  # noqa: B018


def test_importing_the_package_imports_nothing_else():
    """The command line starts with it."""
    said = python(
        "import sys; before = set(sys.modules); import rigcheck; "
        "print(*sorted(name.split('.')[0] for name in set(sys.modules) - before if 'rigcheck' not in name))"
    )
    assert not {"numpy", "scipy", "pint", "pydantic", "rich", "click"} & set(said.split())


def test_a_file_a_mapping_and_a_shot_say_the_same(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(
        '[[prop]]\nname = "inkwell"\nmass = "310 g"\n[[prop.support]]\nmaterial = "music-wire"\n'
        'diameter = "3 mm"\nlength = "180 mm"\n[[prop.move]]\nslide = "220 mm"\nduration = "4 s"\n'
    )
    built = rigcheck.Shot(
        prop=(
            rigcheck.Prop(
                name="inkwell",
                mass="310 g",
                support=(rigcheck.Support(material="music-wire", diameter="3 mm", length="180 mm"),),
                move=(rigcheck.Move(slide="220 mm", duration="4 s"),),
            ),
        )
    )
    results = [
        rigcheck.to_dict(rigcheck.check(rig)) for rig in (path, str(path), RIG, built, rigcheck.load(path))
    ]
    assert all(result == results[0] for result in results)


def test_to_dict_is_what_the_command_prints():
    printed = CliRunner().invoke(commands, ["check", str(SHOT), "--json", "--prop", "inkwell"]).stdout
    assert json.loads(printed) == rigcheck.to_dict(rigcheck.check(SHOT, prop="inkwell"))


def test_quantities_go_in_and_come_out_in_the_user_s_registry():
    """A registry of the user's own, with a unit that only it knows."""
    said = python(
        "import pint\n"
        "ureg = pint.UnitRegistry(); ureg.define('thumb = 2.5 cm'); pint.set_application_registry(ureg)\n"
        "import rigcheck\n"
        f"rig = {RIG!r}\n"
        "rig['prop'][0]['support'][0]['length'] = ureg.Quantity(7.2, 'thumb')\n"
        "rig['prop'][0]['mass'] = ureg.Quantity(0.31, 'kg')\n"
        "sag = rigcheck.check(rig).props[0].static.sag\n"
        "print((sag + ureg.Quantity(1, 'thumb') - ureg.Quantity(25, 'mm')).to('mm').magnitude)\n"
    )
    expected = rigcheck.check(RIG).props[0].static.sag.m_as("mm")
    assert float(said) == pytest.approx(expected, rel=1e-9)


def test_choose_gives_a_table():
    result = rigcheck.choose(RIG, most=4)
    rows = list(csv.DictReader(io.StringIO(rigcheck.to_csv(result))))
    plain = rigcheck.to_dict(result)["props"][0]["candidates"]
    assert len(rows) == len(plain) > 1
    for row, candidate in zip(rows, plain, strict=True):
        assert row["prop"] == "inkwell"
        assert row["material"] == candidate["material"]
        assert float(row["diameter_mm"]) == candidate["diameter_mm"]
        assert float(row["sag_mm"]) == candidate["sag_mm"]


def test_retime_and_explain():
    timed = rigcheck.to_dict(rigcheck.retime(SHOT, prop="notebook"))
    assert timed["format"].startswith("rigcheck-retime/")
    without = rigcheck.to_dict(rigcheck.explain(TAKE))
    assert without["components"]
    assert not without["causes"]
    with_rig = rigcheck.explain(
        TAKE, rig=SHOT, prop="notebook", rates={"belt": "23.5 Hz"}, point=["0 mm"] * 3
    )
    assert rigcheck.to_dict(with_rig)["causes"]


def test_a_sheet_is_what_the_command_makes(tmp_path):
    page = tmp_path / "sheet.html"
    words = ["sheet", str(SHOT), "--prop", "inkwell", "-o", str(page), "--json"]
    printed = CliRunner().invoke(commands, words).stdout
    result = rigcheck.sheet(SHOT, prop="inkwell")
    assert json.loads(printed) == rigcheck.to_dict(result)
    assert page.read_text(encoding="utf-8") == rigcheck.to_html(result)


def test_a_bench_test_takes_quantities():
    quantity = pint.get_application_registry().Quantity
    by_text = rigcheck.explain(None, rig=SHOT, prop="notebook", hung="200 g", sag="1.6 mm")
    by_quantity = rigcheck.explain(
        None, rig=SHOT, prop="notebook", hung=quantity(0.2, "kg"), sag=quantity(0.16, "cm")
    )
    assert rigcheck.to_dict(by_text) == rigcheck.to_dict(by_quantity)


@pytest.mark.parametrize(
    ("wrong", "error", "words"),
    [
        (lambda: rigcheck.load({"prop": []}), rigcheck.InputError, "at least 1"),
        (lambda: rigcheck.load({}), rigcheck.InputError, "prop"),
        (lambda: rigcheck.load("nowhere.toml"), rigcheck.InputError, "no such file"),
        (lambda: rigcheck.check(RIG, prop="inkwel"), rigcheck.UnknownNameError, "inkwell"),
        (lambda: rigcheck.explain(None, hung="200 g"), ArgumentError, "belong together"),
        (lambda: rigcheck.explain(TAKE, rig=RIG, point=["1 mm"]), ArgumentError, "three"),
        (lambda: rigcheck.explain(TAKE, frame_rate=50), rigcheck.UnitError, "frame_rate"),
        (lambda: rigcheck.explain(TAKE, frame_rate="50 mm"), rigcheck.UnitError, "50 mm"),
        (lambda: rigcheck.to_dict({}), ArgumentError, "dict"),
        (lambda: rigcheck.to_csv(rigcheck.check(RIG)), ArgumentError, "choose"),
        (lambda: rigcheck.to_html(rigcheck.check(RIG)), ArgumentError, "no result of sheet"),
        (lambda: rigcheck.sheet(RIG, prop="inkwel"), rigcheck.UnknownNameError, "inkwell"),
    ],
)
def test_what_is_wrong_is_said(wrong, error, words):
    with pytest.raises(error) as caught:
        wrong()
    assert words in str(caught.value)


def test_a_table_cell_is_never_a_formula():
    from rigcheck.library import _cell

    assert _cell("=1+1") == "'=1+1"
    assert _cell(["a", "b"]) == "a; b"
    assert _cell(None) == ""
    assert _cell(-1.5) == -1.5


def test_the_example_runs():
    said = python(str(CHECKOUT / "shared" / "examples" / "inkwell_variants.py"), script=True)
    lines = said.splitlines()
    verdicts = [line.split()[2] for line in lines[:5]]
    assert verdicts[0] != "pass,"
    assert verdicts[-1] == "pass,"
    assert any(line.startswith("prop,") for line in lines)
    assert lines[-1].startswith("Caution: ")
