"""Looking up support materials and what they say."""

import math
import subprocess
import sys
from itertools import pairwise

import pytest

from rigcheck.errors import ArgumentError, UnknownNameError, ValidityError
from rigcheck.stock import (
    Datum,
    damping,
    find_material,
    find_prop_density,
    general_caution,
    names,
    own_material,
    practice,
    source_text,
    valid_diameter,
)


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("music-wire", "music-wire"),
        ("Music Wire", "music-wire"),
        ("music_wire", "music-wire"),
        ("brass", "brass-c260"),
        # A shop's "piano wire" is often not ASTM A228: the data's warning, so the weaker grade answers.
        ("piano wire", "spring-steel-sm"),
        ("spring steel", "spring-steel-sm"),
        ("armature wire", "aluminium-1100-o"),
        ("Aluminum tube", "aluminium-6063-t6"),
        ("fiberglass rod", "glass-rod"),
        ("threaded-rod-4.8", "threaded-rod-4.8"),
        ("threaded rod", "threaded-rod-4.8"),
        ("carbon fiber tube", "carbon-tube"),
    ],
)
def test_names_and_aliases(typed, name):
    assert find_material(typed).name == name


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("musik-wire", 'There is no material "musik-wire" in stock. Did you mean "music-wire"?'),
        (
            "unobtainium-x",
            'There is no material "unobtainium-x" in stock. See "rigcheck stock" for all names.',
        ),
        ("", 'There is no material "" in stock. See "rigcheck stock" for all names.'),
    ],
)
def test_unknown_material(typed, message):
    with pytest.raises(UnknownNameError) as caught:
        find_material(typed)
    assert str(caught.value) == message
    assert isinstance(caught.value, KeyError)


def test_a_family_word_names_what_it_could_mean():
    with pytest.raises(UnknownNameError, match=r"Did you mean .*carbon-tube"):
        find_material("carbon pipe tube")


def test_unknown_kind_of_stock():
    with pytest.raises(UnknownNameError) as caught:
        names("bolts")
    assert str(caught.value) == (
        'There is no kind of stock "bolts". Known: material, sheet, clamp, prop, gauge.'
    )


def test_music_wire_by_diameter():
    wire = find_material("music-wire")
    # Bands of E and G as printed in the design text's table (S1): value by diameter, in GPa.
    for diameter, young, shear in [
        (0.5e-3, 203.4, 82.7),
        (1.0e-3, 200.0, 81.7),
        (1 / 16 * 0.0254, 200.0, 81.7),
        (2.0e-3, 196.5, 81.0),
        (1 / 8 * 0.0254, 196.5, 81.0),
        (4.0e-3, 193.0, 80.0),
    ]:
        at = wire.at(diameter)
        assert at.youngs_modulus.value == pytest.approx(young * 1e9, rel=1e-12)
        assert at.shear_modulus.value == pytest.approx(shear * 1e9, rel=1e-12)
        # Metals scatter by 3 % (common practice).
        assert at.youngs_modulus.bounds == pytest.approx((0.97 * young * 1e9, 1.03 * young * 1e9))
    at = wire.at(1.016e-3)
    assert at.tensile_strength.value == pytest.approx(2172e6)
    assert at.tensile_strength.high == pytest.approx(2406e6)
    # Elastic limit 65 to 75 % of Rm (S1): from the minimum to the maximum of the standard.
    assert at.yield_strength.bounds == pytest.approx((0.65 * 2172e6, 0.75 * 2406e6))
    assert at.yield_strength.value == pytest.approx(0.70 * 2172e6)
    assert at.torsional_strength.value == pytest.approx(0.45 * 2172e6)
    assert at.fatigue_strength.value == pytest.approx(0.27 * 2172e6)
    assert at.fatigue_cycles == 1e6
    assert at.working_strength_kind == "elastic limit"
    assert at.working_strength() == wire.working_strength(1.016e-3) == at.yield_strength
    assert at.yield_strength.mark == "derived"
    assert set(at.yield_strength.source) == {"S3", "S1"}


def test_spring_wire_without_a_diameter_has_no_strength():
    wire = find_material("music-wire")
    assert wire.tensile_strength is None
    assert wire.yield_strength is None
    assert wire.youngs_modulus.bounds[0] <= 193e9
    assert wire.youngs_modulus.bounds[1] >= 203.4e9
    with pytest.raises(ArgumentError) as caught:
        wire.working_strength()
    assert str(caught.value) == "The strength of music-wire depends on its diameter: give one."


def test_outside_the_table_is_refused_not_extrapolated():
    wire = find_material("music-wire")
    with pytest.raises(ValidityError) as caught:
        wire.at(8e-3)
    assert str(caught.value) == (
        "The strength of music-wire is known from 0.254 to 6.35 mm diameter; 8 mm was given. Choose a "
        "size in that range, or describe your own wire under [[material]]."
    )
    with pytest.raises(ValidityError, match=r"0\.1 mm was given"):
        wire.at(0.1e-3)
    # 1/4 in is the end of the table, whatever the last bit of the conversion says.
    assert wire.at(0.25 * 0.0254).tensile_strength.value == pytest.approx(1586e6)
    assert valid_diameter("music-wire") == pytest.approx((0.254e-3, 6.35e-3))
    assert valid_diameter(find_material("brass-c260")) == (0.0, math.inf)


@pytest.mark.parametrize("diameter", [0.0, -1e-3, math.nan, math.inf])
def test_impossible_diameter(diameter):
    for name in ("music-wire", "brass-c260"):
        with pytest.raises(ArgumentError, match="is not possible: give a positive, finite number"):
            find_material(name).at(diameter)


@pytest.mark.parametrize(
    "name", ["music-wire", "spring-steel-sm", "hard-drawn-steel", "stainless-304-spring"]
)
def test_strength_falls_as_the_wire_grows_and_pieces_join(name):
    wire = find_material(name)
    smallest, largest = wire.laws.range
    steps = [smallest * (largest / smallest) ** (n / 400) for n in range(401)]
    strengths = [wire.at(diameter).tensile_strength.value for diameter in steps]
    # Remembered laws join a published table with up to 1 % of mismatch; otherwise it only falls.
    for thin, thick in pairwise(strengths):
        assert thick < thin * 1.01
        assert thick > thin * 0.97


def test_working_strength_by_kind_of_material():
    assert find_material("aluminium-1100-o").working_strength_kind == "yield"
    assert find_material("aluminium-1100-o").working_strength().value == 34e6
    carbon = find_material("carbon-rod")
    assert carbon.brittle
    assert carbon.yield_strength is None
    assert carbon.working_strength_kind == "rupture"
    assert carbon.working_strength().value == 1370e6
    assert carbon.ultimate_strength().value == 1370e6
    assert find_material("brass-c260").ultimate_strength().value == 395e6
    for name in ("glass-rod", "acrylic", "beech-dowel", "bamboo"):
        assert find_material(name).working_strength_kind == "rupture"
    assert find_material("polycarbonate").working_strength_kind == "yield"


def test_soft_wire_begins_to_set_below_its_yield_strength():
    # Half of Rp0.2 for annealed metal: common practice, no source.
    soft = find_material("aluminium-1100-o")
    assert soft.set_onset().value == pytest.approx(17e6)
    hard = find_material("aluminium-1100-h18")
    assert hard.set_onset() == hard.yield_strength
    wire = find_material("music-wire")
    assert wire.set_onset(2e-3) == wire.at(2e-3).yield_strength
    assert find_material("carbon-rod").set_onset() is None


def test_what_a_record_takes_from_another_and_what_it_does_not():
    soft, hard = find_material("aluminium-1100-o"), find_material("aluminium-1100-h18")
    assert hard.density == soft.density
    assert hard.yield_strength.value == 152e6
    assert soft.reduction_of_area.value == 0.88
    assert hard.reduction_of_area is None
    assert hard.aliases == ("hard aluminium wire",)


def test_damping_is_the_firm_jaw_unless_the_material_has_more():
    jaw = damping().datum
    assert (jaw.low, jaw.value, jaw.high) == (0.001, 0.003, 0.01)
    assert find_material("music-wire").damping_ratio == jaw
    assert find_material("carbon-rod").damping_ratio == jaw
    assert find_material("acrylic").damping_ratio.value == 0.02
    assert find_material("beech-dowel").damping_ratio.value == 0.005
    assert damping("strand").datum.bounds == (0.02, 0.10)


def test_shear_strength_of_a_ductile_metal_follows_von_mises():
    brass = find_material("brass-c260")
    assert brass.torsional_strength.value == pytest.approx(350e6 / math.sqrt(3))


def test_creep_and_thread_notch():
    assert find_material("acrylic").creep_factor.value == 2
    assert find_material("music-wire").creep_factor is None
    assert find_material("threaded-rod-4.8").fatigue_notch_factor.value == 2.8
    assert find_material("threaded-rod-4.8").fatigue_strength.value == pytest.approx(210e6)


def test_lower_grades_are_weaker():
    thin = 2e-3
    strengths = [
        find_material(name).working_strength(thin).value for name in ("hard-drawn-steel", "spring-steel-sm")
    ]
    strengths.append(find_material("music-wire").working_strength(thin).value)
    assert strengths == sorted(strengths)


def test_own_material():
    own = own_material(
        name="shop-rod",
        density=2710.0,
        youngs_modulus=69e9,
        shear_modulus=26e9,
        yield_strength=35e6,
        tensile_strength=90e6,
    )
    assert own.working_strength().value == 35e6
    assert own.working_strength_kind == "yield"
    assert own.youngs_modulus.bounds == pytest.approx((0.97 * 69e9, 1.03 * 69e9))
    assert own.youngs_modulus.mark == "given"
    assert own.damping_ratio == damping().datum
    assert own.poissons_ratio == pytest.approx(69 / 52 - 1)
    assert own.at(3e-3).diameter == 3e-3
    assert own.fatigue_strength is None
    assert own.fatigue_reason == "no fatigue strength was given"
    ranged = Datum(value=69e9, low=60e9, high=75e9, source=(), mark="given")
    assert own_material(name="x", density=1.0, youngs_modulus=ranged).youngs_modulus.bounds == (60e9, 75e9)


def test_own_brittle_and_own_fibre_material():
    rod = own_material(
        name="rod", density=1500.0, youngs_modulus=127e9, shear_modulus=5e9, tensile_strength=1e9
    )
    assert rod.brittle
    assert rod.working_strength().value == 1e9
    assert rod.poissons_ratio == 0.3  # E/G of fibre gives no Poisson's ratio
    bare = own_material(name="bare", density=1500.0, youngs_modulus=100e9)
    assert bare.shear_modulus.value == pytest.approx(100e9 / 2.6)
    with pytest.raises(ArgumentError) as caught:
        bare.working_strength()
    assert str(caught.value) == "No yield strength is known for bare: give yield_strength."


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_own_material_refuses_impossible_values(value):
    with pytest.raises(ArgumentError, match=r"rod: density = .* must be a positive, finite number"):
        own_material(name="rod", density=value, youngs_modulus=1e9)


def test_rules_props_cautions_and_sources():
    assert practice("jaw-notch").datum.bounds == (1.5, 2.5)
    assert find_prop_density("sponge cake").datum.bounds == (277, 343)
    with pytest.raises(UnknownNameError) as caught:
        find_prop_density("chokolate")
    assert str(caught.value) == 'There is no prop material "chokolate" in stock. Did you mean "chocolate"?'
    assert "not guaranteed" in general_caution()
    assert "A228" in source_text("S3")
    for look, word in ((source_text, "S999"), (practice, "luck"), (damping, "magic")):
        with pytest.raises(UnknownNameError, match="There is no"):
            look(word)


def test_one_lookup_loads_neither_the_search_nor_the_numeric_libraries():
    # Start-up time is a target of the project: a check must not wait for what it does not use.
    code = (
        "import sys; from rigcheck.stock import find_material, find_clamp; "
        "find_material('music-wire').at(3e-3); find_clamp('collet'); "
        "late = {'rigcheck.stock.finder', 'rigcheck.stock.entries', 'rigcheck.stock.sheets', 'difflib', 'numpy',"
        " 'pint', 'rich'};"
        "print(*(late & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == ""
