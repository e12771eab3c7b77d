"""Every file of `materials/`: complete, marked, sourced, ordered and of a plausible size."""

import re
import tomllib

import pytest

from rigcheck.stock import data_folder, find_material, find_sheet, names, stock_sizes
from rigcheck.stock.datum import MARKS, engineering_unit
from rigcheck.stock.tables import aliases_of, normalised, record, record_names, support_families

FILES = sorted(file.stem for file in data_folder("materials").glob("*.toml") if file.stem != "sources")


def whole(file):
    return tomllib.loads((data_folder("materials") / f"{file}.toml").read_text("utf-8"))


WHOLE = {file: whole(file) for file in FILES}
SOURCES = whole("sources")

# Widest believable range of each kind of value, SI; a slip of a unit prefix falls outside.
PLAUSIBLE = {
    "density_kg_m3": (10, 20_000),
    "core_density_kg_m3": (10, 200),
    "youngs_modulus_GPa": (1e9, 500e9),
    "youngs_modulus_along_GPa": (0.5e9, 300e9),
    "youngs_modulus_across_GPa": (0.5e9, 300e9),
    "shear_modulus_GPa": (0.05e9, 200e9),
    "transverse_modulus_GPa": (1e9, 20e9),
    "core_shear_modulus_MPa": (1e6, 100e6),
    "poissons_ratio": (0.1, 0.5),
    "yield_strength_MPa": (15e6, 1500e6),
    "tensile_strength_MPa": (50e6, 4000e6),
    "rupture_strength_MPa": (20e6, 3000e6),
    "bending_strength_along_MPa": (5e6, 1000e6),
    "bending_strength_across_MPa": (5e6, 1000e6),
    "compressive_strength_MPa": (100e6, 2000e6),
    "shear_strength_MPa": (1e6, 500e6),
    "fatigue_strength_MPa": (5e6, 700e6),
    "long_term_strength_MPa": (5e6, 50e6),
    "softening_temperature_C": (40, 200),
    "fatigue_share": (0.1, 0.7),
    "yield_share": (0.5, 0.9),
    "elastic_limit_share": (0.5, 0.85),
    "torsional_share": (0.4, 0.65),
    "fatigue_notch_factor": (1, 5),
    "damping_ratio": (1e-5, 0.11),
    "reduction_of_area": (0.3, 0.95),
    "mass_per_area_kg_m2": (0.1, 10),
    "flexural_rigidity_along_N_m": (0.5, 50),
    "flexural_rigidity_across_N_m": (0.5, 50),
    "moment_strength_along_N": (0.5, 50),
    "moment_strength_across_N": (0.5, 50),
    "extra_length_diameters": (0.5, 15),
    "minimum_grip_diameters": (2, 30),
    "play_mm": (0, 1e-3),
    "time_min": (60, 86_400),
    "youngs_modulus_scatter": (0.01, 0.5),
    "share": (0.1, 1),
    "bond": (0, 1),
    "factor": (1, 20),
    "pixels": (0.1, 1),
}


def datums():
    """Yield (place, key, entry) for every value with a source, tables and laws included."""
    for file in FILES:
        for name in record_names(file):
            for key, value in WHOLE[file][name].items():
                entries = value if isinstance(value, list) else [value]
                for entry in entries:
                    if isinstance(entry, dict) and "mark" in entry:
                        yield f"{file}: {name}: {key}", key, entry


def test_there_is_something_to_check():
    assert len(list(datums())) > 400
    assert len(names()) >= 36
    assert len(names("sheet")) >= 14


@pytest.mark.parametrize("file", FILES)
def test_reading_one_record_gives_what_reading_the_whole_file_gives(file):
    # The text is cut at the headers before it is parsed: the cut must not lose or mix anything.
    assert set(record_names(file)) == set(WHOLE[file])
    for name in record_names(file):
        own = {key: value for key, value in WHOLE[file][name].items() if value != {} and key != "like"}
        got = record(file, name)
        assert {key: got[key] for key in own} == own


def test_every_value_has_a_mark_and_sources_that_exist():
    for place, _, entry in datums():
        assert entry["mark"] in MARKS, place
        assert entry["source"], place
        for key in entry["source"]:
            assert key in SOURCES, f"{place}: {key}"


def test_marks_agree_with_the_kind_of_the_first_source():
    kinds = {"S": "published", "M": "from-memory", "C": "common-practice", "D": "derived"}
    for place, _, entry in datums():
        if entry["mark"] != "derived":
            assert kinds[entry["source"][0][0]] == entry["mark"], place
        else:
            assert {"D"} & set(entry["source"]) or "by_grip" in entry, place


def test_every_table_without_values_of_its_own_is_marked_too():
    for file in ("cautions", "sizes", "tolerances", "gauges"):
        for name in record_names(file):
            entry = record(file, name)
            assert entry["mark"] in MARKS, f"{file}: {name}"
            assert set(entry["source"]) <= set(SOURCES), f"{file}: {name}"


def test_low_is_not_above_and_high_not_below_the_value():
    for place, _, entry in datums():
        if "coefficient" in entry:
            assert entry["from_mm"] < entry["to_mm"], place
            continue
        values = entry["value"] if isinstance(entry["value"], list) else [entry["value"]]
        lows = entry.get("low", entry["value"])
        highs = entry.get("high", entry["value"])
        lows = lows if isinstance(lows, list) else [lows]
        highs = highs if isinstance(highs, list) else [highs]
        for low, value, high in zip(lows, values, highs, strict=True):
            assert low <= value <= high, place


def test_values_are_of_a_plausible_size_in_si():
    for place, key, entry in datums():
        if "coefficient" in entry or key in {"extra_length_diameters"} or "thickness_mm" in entry:
            continue
        factor, _ = engineering_unit(key)
        least, most = PLAUSIBLE[key]
        values = entry["value"] if isinstance(entry["value"], list) else [entry["value"]]
        ends = [entry[end] for end in ("low", "high") if end in entry and not isinstance(entry[end], list)]
        for value in [*values, *ends]:
            assert least <= value * factor <= most, place


def test_isotropic_metals_have_a_shear_modulus_that_fits_their_poisson_ratio():
    # G = E / (2 (1 + nu)) for an isotropic metal. The sources print G to two digits and mix tempers and
    # handbooks, so 8 % is what they can promise; fibre, wood and line are not isotropic and stand apart.
    for family in ("aluminium", "steel", "copper-alloys", "titanium-tungsten", "spring-wire"):
        for name in record_names(family):
            material = find_material(name)
            expected = material.youngs_modulus.value / (2 * (1 + material.poissons_ratio))
            assert material.shear_modulus.value == pytest.approx(expected, rel=0.08), name


def test_every_source_is_used_and_every_source_named_in_a_text_exists():
    used = set()
    for file in FILES:
        text = (data_folder("materials") / f"{file}.toml").read_text("utf-8")
        used |= {key for key in SOURCES if re.search(rf"\b{re.escape(key)}\b", text)}
        for key in re.findall(r"\bS\d+[a-z]?\b", text):
            assert key in SOURCES, f"{file}: {key}"
    assert set(SOURCES) == used


def test_names_are_kebab_case_and_aliases_are_unambiguous():
    for file in FILES:
        for name in record_names(file):
            assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9.]+)*", name), f"{file}: {name}"
    owner = {}
    for family in support_families():
        for alias, name in aliases_of(family).items():
            assert owner.setdefault(alias, name) == name, alias
    for file in ("sheet", "clamps"):
        written = [
            normalised(alias)
            for name in record_names(file)
            for alias in record(file, name).get("aliases", ())
        ]
        assert len(written) == len(set(written)), file


def test_every_material_builds_and_says_what_a_buyer_needs():
    for name in names():
        material = find_material(name)
        sizes = stock_sizes(material)
        assert sizes, name
        assert {size.section for size in sizes} <= set(material.forms), name
        assert material.buy_ease in (1, 2, 3)
        assert material.cautions, name
        resolved = material.at(sizes[0].diameter or sizes[0].thickness)
        assert resolved.working_strength().value > 0, name
        assert (resolved.torsional_strength is None) == (material.family == "lines"), name
        assert (resolved.fatigue_strength is None) == bool(material.fatigue_reason), name


def test_every_form_named_is_one_the_rig_file_or_a_line_can_use():
    for name in names():
        assert set(find_material(name).forms) <= {"round", "tube", "strip", "strand", "threaded", "line"}, (
            name
        )


def test_every_sheet_builds_at_every_thickness_it_is_sold_in():
    for name in names("sheet"):
        sheet = find_sheet(name)
        for thickness in sheet.thicknesses:
            cut = sheet.at(thickness)
            assert cut.flexural_rigidity_along.value >= cut.flexural_rigidity_across.value > 0, name
            assert cut.mass_per_area.value > 0
            assert cut.moment_strength_along.value >= cut.moment_strength_across.value > 0
