"""Quantities: the grammar, the traps, the registry."""

import contextlib
import math
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pint
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rigcheck.errors import RigcheckError, UnitError
from rigcheck.units import (
    _KNOWN,
    DIMENSIONS,
    QuantityError,
    from_pint,
    is_gauge,
    measured,
    parse_quantity,
    quantity_pattern,
    read_unit,
    registry,
)

# Conversions that are exact by definition: the international inch, pound, standard gravity (NIST SP 811,
# Guide for the Use of the SI, Appendix B.8, values from memory); the rest follows from SI prefixes.
EXACT = [
    ("180 mm", "length", "m", 0.18),
    ("1/8 in", "length", "mm", 3.175),
    ("1 1/8 in", "length", "mm", 28.575),
    ("+.5in", "length", "mm", 12.7),
    ("5. mm", "length", "mm", 5.0),
    ("-2.5e1 mm", "length", "m", -0.025),
    ("2 thou", "length", "mm", 0.0508),
    ("2 mil", "length", "mm", 0.0508),
    ("3 ft", "length", "m", 0.9144),
    ("20 µm", "length", "mm", 0.02),
    ("310 g", "mass", "kg", 0.31),
    ("1 lb", "mass", "kg", 0.45359237),
    ("16 oz", "mass", "lb", 1.0),
    ("250 ms", "time", "s", 0.25),
    ("2 min", "time", "s", 120.0),
    ("90 deg", "angle", "rad", math.pi / 2),
    ("90°", "angle", "deg", 90.0),
    ("1/2 turn", "angle", "deg", 180.0),
    ("1 lbf", "force", "N", 0.45359237 * 9.80665),
    ("100 gf", "force", "N", 0.980665),
    ("0.08 g0", "acceleration", "m/s^2", 0.784532),
    ("0.8 m/s/s", "acceleration", "mm/s^2", 800.0),
    ("50 fps", "frequency", "Hz", 50.0),
    ("50 1/s", "frequency", "Hz", 50.0),
    ("2 N·m", "torque", "N*mm", 2000.0),
    ("1 N*m/deg", "rotational stiffness", "N*m/rad", 180.0 / math.pi),
    ("69 GPa", "pressure", "Pa", 69e9),
    ("35 N/mm^2", "pressure", "MPa", 35.0),
    ("2.71 g/cm^3", "density", "kg/m^3", 2710.0),
    ("4e-5 kg*m^2", "inertia", "g*cm^2", 400.0),
    ("0.02 N*m", "flexural rigidity", "N*m", 0.02),
    ("1 in/s", "velocity", "mm/s", 25.4),
]


@pytest.mark.parametrize(("text", "dimension", "unit", "value"), EXACT)
def test_reads_what_the_definition_says(text: str, dimension: str, unit: str, value: float) -> None:
    # A few roundings of double precision.
    assert parse_quantity(text, dimension).m_as(unit) == pytest.approx(value, rel=4e-15)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("3 mm +/- 0.05 mm", 2.95, 3.05),
        ("3 mm +/- 2 %", 2.94, 3.06),
        ("3 mm ± 2%", 2.94, 3.06),
        ("-40 mm +/- 5 %", -42.0, -38.0),
        ("3mm+-2%", 2.94, 3.06),
        ("1 in +/- 0.4 mm", 25.0, 25.8),
        ("3 mm +/- 0 mm", 3.0, 3.0),
        ("3 mm +/- 1/8 in", -0.175, 6.175),
    ],
)
def test_reads_a_range(text: str, low: float, high: float) -> None:
    assert parse_quantity(text, "length").range_as("mm") == pytest.approx((low, high), rel=1e-14)


def test_a_value_alone_has_no_range() -> None:
    assert parse_quantity("3 mm", "length").range_as("mm") is None


# What is typed, the dimension, and the whole message.
WRONG = [
    ("180", "length", '"180" has no unit; a length needs one. Write "180 mm".'),
    ("2,5 mm", "length", '"2,5 mm" has a comma; decimals are written with a point. Write "2.5 mm".'),
    (
        "1,200 mm",
        "length",
        '"1,200 mm" has a comma; decimals are written with a point. Write "1.200 mm" or "1200 mm".',
    ),
    ("nan mm", "length", '"nan mm" is not a finite number. Write a length like "180 mm".'),
    ("-inf mm", "length", '"-inf mm" is not a finite number. Write a length like "180 mm".'),
    (
        "9**9**9 mm",
        "length",
        '"9**9**9 mm" cannot be read as a number and a unit. Write a length like "180 mm".',
    ),
    ("180 MM", "length", 'the unit "MM" is not known. Write "180 mm".'),
    ("180 Mm", "length", 'the unit "Mm" is not known. Write "180 mm".'),
    ("18 milimetre", "length", 'the unit "milimetre" is not known. Write "18 millimetre".'),
    ('1/8"', "length", '"1/8"" cannot be read as a number and a unit. Write "1/8 in".'),
    ("6'", "length", '"6\'" cannot be read as a number and a unit. Write "6 ft".'),
    ("1½ in", "length", '"1½ in" has a character that is not read here: ½ (U+00BD). Write "1 1/2 in".'),
    ("1-1/8 in", "length", '"1-1/8 in" cannot be read as a number and a unit. Write "1 1/8 in".'),
    ("1/0 mm", "length", '"1/0 mm" divides by zero.'),
    ("3 mm +/- 0.05", "length", '"0.05" has no unit; a length needs one. Write "3 mm +/- 0.05 mm".'),
    ("3 +/- 0.05 mm", "length", '"3" has no unit; a length needs one. Write "3 mm +/- 0.05 mm".'),
    ("3 mm +/- -1 mm", "length", 'the range "+/- -1 mm" is negative. Write it without the second sign.'),
    (
        "3 mm +/- 1 mm +/- 1 mm",
        "length",
        '"3 mm +/- 1 mm +/- 1 mm" gives more than one range. Write "180 mm +/- 2 %".',
    ),
    ("1e31 mm", "length", 'the exponent in "1e31 mm" is out of range: -30 to 30.'),
    (
        "1" * 41 + " mm",
        "length",
        'the number in "1111111111111111111111111111111111111..." is too long: at most 40 characters.',
    ),
    (
        "1e30 mm",
        "length",
        (
            '"1e30 mm" is outside what rigcheck computes: 1e-09 m to 100000 m. '
            "Look at the number and its unit again."
        ),
    ),
    (
        "٣ mm",
        "length",
        '"٣ mm" has a character that is not read here: ٣ (U+0663). Write a length like "180 mm".',
    ),
    (
        "３ mm",
        "length",
        '"３ mm" has a character that is not read here: ３ (U+FF13). Write a length like "180 mm".',
    ),
    ("−5 mm", "length", '"−5 mm" has a character that is not read here: − (U+2212). Write "-5 mm".'),
    ("310 g", "length", '"310 g" is a mass; a length is needed here. Write a length like "180 mm".'),
    ("14 SWG", "length", '"14 SWG" is a wire gauge, which cannot be read here. Write the size in mm.'),
    ("", "length", 'the text is empty; a length is needed. Write a length like "180 mm".'),
    (
        "x" * 121,
        "length",
        'this text is too long for a quantity: 121 characters, 120 allowed. Write a length like "180 mm".',
    ),
    (
        "__import__('os')",
        "length",
        '"__import__(\'os\')" does not begin with a number. Write a length like "180 mm".',
    ),
    # "g" is gram, so 0.08 g is a mass.
    ("0.08 g", "acceleration", '"0.08 g" is a mass; an acceleration is needed here. Write "0.08 g0".'),
    ("0.08 G", "acceleration", 'the unit "G" is not known. Write "0.08 g0".'),
    ("0.8 m/s2", "acceleration", '"0.8 m/s2" cannot be read as a number and a unit. Write "0.8 m/s^2".'),
    (
        "0.8 m/s²",
        "acceleration",
        '"0.8 m/s²" has a character that is not read here: ² (U+00B2). Write "0.8 m/s^2".',
    ),
    ("2 Nm", "torque", 'the unit "Nm" is not known. Write "2 N*m".'),
    ("2 N m", "torque", '"2 N m" cannot be read as a number and a unit. Write "2 N*m".'),
    ("2 N*m/rad", "torque", '"2 N*m/rad" is a rotational stiffness; a torque is needed here. Write "2 N*m".'),
    (
        "12 N*m",
        "rotational stiffness",
        '"12 N*m" is a torque; a rotational stiffness is needed here. Write "12 N*m/rad".',
    ),
    ("2 kg", "force", '"2 kg" is a mass; a force is needed here. Write "2 kgf".'),
    ("5 lbs", "force", '"5 lbs" is a mass; a force is needed here. Write "5 lbf".'),
    # Hz and rad/s are two things, unlike in the registry.
    (
        "60 rpm",
        "frequency",
        '"60 rpm" is a turning speed; a frequency is needed here. Write a frequency like "50 fps".',
    ),
    ("24 FPS", "frequency", 'the unit "FPS" is not known. Write "24 fps".'),
    ("69 gpa", "pressure", 'the unit "gpa" is not known. Write "69 GPa".'),
    ("4 m", "time", '"4 m" is a length; a time is needed here. Write "4 min".'),
]


@pytest.mark.parametrize(("text", "dimension", "message"), WRONG)
def test_says_what_is_wrong_and_how_to_write_it(text: str, dimension: str, message: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, dimension)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (180, '180 has no unit; a length needs one. Write "180 mm".'),
        (2.5, '2.5 has no unit; a length needs one. Write "2.5 mm".'),
        (True, 'a length is a text of number and unit in quotes. Write it like "180 mm".'),
        (None, 'a length is a text of number and unit in quotes. Write it like "180 mm".'),
        (float("nan"), 'a length is a text of number and unit in quotes. Write it like "180 mm".'),
    ],
)
def test_a_number_alone_is_no_quantity(value: object, message: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_quantity(value, "length")  # type: ignore[arg-type]
    assert str(caught.value) == message


def test_holds_the_sign() -> None:
    for text in ("0 mm", "-1 mm", "-0 mm"):
        with pytest.raises(UnitError, match="has to be more than zero"):
            parse_quantity(text, "length", sign="positive")
    with pytest.raises(UnitError, match="must not be negative"):
        parse_quantity("-1 mm", "length", sign="nonnegative")
    with pytest.raises(UnitError, match="goes below what a length can be here"):
        parse_quantity("3 mm +/- 3 mm", "length", sign="positive")
    assert parse_quantity("0 mm", "length", sign="nonnegative").m_as("mm") == 0.0


def test_asks_the_reader_of_gauges_first() -> None:
    def read(text: str) -> float | None:
        if text == "18 gauge":
            raise RigcheckError("which gauge?")
        return 2.032e-3 if text == "14 SWG" else None

    wire = parse_quantity("14 SWG", "length", lengths=read)
    assert wire.m_as("m") == pytest.approx(2.032e-3, rel=1e-15)
    assert wire.text == "14 SWG"
    assert parse_quantity("14 SWG +/- 1 %", "length", lengths=read).range_as("mm") is not None
    assert parse_quantity("2 mm", "length", lengths=read).m_as("mm") == 2.0
    with pytest.raises(UnitError, match=r"^which gauge\?$"):
        parse_quantity("18 gauge", "length", lengths=read)


@pytest.mark.parametrize(
    "text", ["14 SWG", "14swg", "AWG 18", "2/0 AWG", "18 gauge", "18 ga", "20 music wire"]
)
def test_knows_a_gauge_when_it_sees_one(text: str) -> None:
    assert is_gauge(text)


@pytest.mark.parametrize("text", ["3 mm", "18 g", "gadget", "1/8 in", "100 gallons"])
def test_does_not_take_other_texts_for_gauges(text: str) -> None:
    assert not is_gauge(text)


@pytest.mark.parametrize(
    ("text", "dimension", "unit"), [("2 N*m", "torque", "N*m/rad"), ("1 Hz", "frequency", "rad/s")]
)
def test_angles_are_not_dropped_when_converting(text: str, dimension: str, unit: str) -> None:
    with pytest.raises(UnitError):
        parse_quantity(text, dimension).m_as(unit)


# -- properties ----------------------------------------------------------------------------------------------

units_of_everything = [(unit, name) for name, dimension in DIMENSIONS.items() for unit in dimension.units]


@given(
    st.floats(min_value=-1e5, max_value=1e5, allow_subnormal=False).filter(lambda x: x == 0 or abs(x) > 1e-3),
    st.sampled_from(units_of_everything),
)
def test_round_trip(value: float, unit: tuple[str, str]) -> None:
    text = f"{value!r} {unit[0]}"
    dimension = DIMENSIONS[unit[1]]
    size = abs(measured(value, unit[0]).m_as(dimension.unit))
    if size > dimension.largest or 0 < size < dimension.smallest:
        with pytest.raises(QuantityError, match="outside what rigcheck computes"):
            parse_quantity(text, unit[1])
        return
    read = parse_quantity(text, unit[1])
    assert read.m_as(unit[0]) == value
    assert read.text == text
    again = measured(value, unit[0])
    assert again.m_as(unit[0]) == value


@given(st.floats(min_value=1e-2, max_value=1e4))
def test_mm_and_inch_agree(millimetres: float) -> None:
    one = parse_quantity(f"{millimetres!r} mm", "length").m_as("m")
    other = parse_quantity(f"{millimetres / 25.4!r} in", "length").m_as("m")
    assert one == pytest.approx(other, rel=1e-15 * 4)


@given(st.integers(0, 9), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_fractions_are_what_they_say(whole: int, over: int, under: int) -> None:
    text = f"{whole} {over}/{under} in" if whole else f"{over}/{under} in"
    # Dyadic fractions are exact in binary.
    assert parse_quantity(text, "length").m_as("in") == whole + over / under


quantity_like = st.text(alphabet="0123456789.,+-/*^eE mMgkNsdinfa±%'\"²·°", max_size=60)


@settings(max_examples=400)
@given(st.one_of(quantity_like, st.text(max_size=200)), st.sampled_from(sorted(DIMENSIONS)))
@example("9" * 119, "length")
@example("1 " + "m*" * 59, "length")
@example("1/" * 60, "length")
@example("1 m^9", "length")
@example("1 m" + "^-4*m" * 20, "length")
@example("+/-" * 40, "length")
def test_garbage_raises_nothing_else_and_does_not_hang(text: str, dimension: str) -> None:
    begun = time.perf_counter()
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse_quantity(text, dimension).m_as(DIMENSIONS[dimension].unit))
    # Microseconds each; the bound leaves room for a busy machine and none for a runaway pattern.
    assert time.perf_counter() - begun < 2.0


@pytest.mark.parametrize("dimension", sorted(DIMENSIONS))
def test_the_pattern_for_editors_agrees_with_the_reader(dimension: str) -> None:
    pattern = re.compile(quantity_pattern(dimension))
    for unit in DIMENSIONS[dimension].units:
        for text in (f"3 {unit}", f"-1.5e-3 {unit}", f"1 1/8 {unit} +/- 2 %", f".5{unit}"):
            assert pattern.search(text), text
    for text in ("180", "", "mm", "nan mm", "1,5 m", "3 mm 4", "9**9 m"):
        assert not pattern.search(text), text


# -- making values -------------------------------------------------------------------------------------------


def test_measured_makes_values_for_changed_copies() -> None:
    length = measured(140.0, "mm", low=139.0, high=141.0)
    assert length.text == "140 mm"
    assert str(length) == "140 mm"
    assert length.range_as("m") == pytest.approx((0.139, 0.141), rel=1e-15)
    assert parse_quantity(length.text, "length").m_as("mm") == 140.0
    for numbers in (
        {"magnitude": math.nan},
        {"magnitude": 1.0, "low": 2.0, "high": 3.0},
        {"magnitude": 1.0, "low": 0.5},
    ):
        with pytest.raises(UnitError):
            measured(unit="mm", **numbers)
    assert measured(2.0, "N*m/rad").m_as("N*mm/rad") == 2e3
    for text in ("Nm", "9", "m^99", "os.system", ""):
        with pytest.raises(UnitError):
            measured(1.0, text)


# -- the registry --------------------------------------------------------------------------------------------


def run(code: str, cache: object) -> str:
    """Run code in a fresh interpreter that keeps its cache in a folder of the test."""
    folder = str(cache)
    environment = {**os.environ, "XDG_CACHE_HOME": folder, "HOME": folder, "LOCALAPPDATA": folder}
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        capture_output=True,
        text=True,
        env=environment,
        cwd=Path(__file__).parents[1],
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


ONE_INCH = "from rigcheck.units import *; print(parse_quantity('1 in', 'length').nominal.m_as('mm'))"


def test_the_registry_is_the_application_registry() -> None:
    assert pint.application_registry.get() is registry()
    assert isinstance(parse_quantity("1 mm", "length").nominal, pint.Quantity)


def test_keeps_and_uses_a_cache(tmp_path) -> None:
    assert run(ONE_INCH, tmp_path) == "25.4"
    kept = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert kept
    assert run(ONE_INCH, tmp_path) == "25.4"


def test_a_damaged_cache_is_no_trouble(tmp_path) -> None:
    run(ONE_INCH, tmp_path)
    for path in tmp_path.rglob("*"):
        if path.is_file():
            path.write_bytes(b"\x80garbage")
    assert run(ONE_INCH, tmp_path) == "25.4"


def test_no_place_for_a_cache_is_no_trouble(tmp_path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    assert run(ONE_INCH, blocked) == "25.4"


def test_a_callers_own_registry_is_used(tmp_path) -> None:
    code = (
        "import pint; own = pint.UnitRegistry(); pint.set_application_registry(own)\n"
        "from rigcheck.units import *\n"
        "assert registry() is own\n"
        "assert parse_quantity('1 in', 'length').nominal._REGISTRY is own\n"
        "new = pint.UnitRegistry(); pint.set_application_registry(new)\n"
        "assert registry() is new and parse_quantity('1 in', 'length').nominal._REGISTRY is new\n"
        "print('own')"
    )
    assert run(code, tmp_path) == "own"


def test_reading_a_quantity_does_not_load_the_registry(tmp_path) -> None:
    code = (
        "from rigcheck.units import *; import sys; parse_quantity('1 in +/- 1 mm', 'length').range_as('um')\n"
    )
    assert run(f"{code}print('pint' in sys.modules)", tmp_path) == "False"


# -- the factors, held against pint's ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", sorted({*_KNOWN, *(unit for kind in DIMENSIONS.values() for unit in kind.units)})
)
def test_factor_and_root_of_every_unit_are_those_of_pint(text) -> None:
    read, source = read_unit(text), registry()
    factor, root = source.get_root_units(source.parse_units(read.expression))
    assert read.factor == pytest.approx(factor, rel=4e-16 * 8)  # pint multiplies prefixes up; a few roundings
    assert dict(read.root) == dict(source.Quantity(1, root).unit_items())


def test_a_quantity_of_pint_is_taken_over_in_any_unit() -> None:
    taken = from_pint(registry().Quantity(2, "furlong"))
    assert taken.m_as("m") == pytest.approx(
        2 * 201.168, rel=1e-5
    )  # the furlong of pint is that of the US survey
    assert str(taken.nominal.units) == "furlong"
    with pytest.raises(UnitError):
        from_pint(registry().Quantity(2, "kelvin")).m_as("m")
