"""Searching the stock."""

import pytest

from rigcheck.stock import names, search


def found(query):
    return [entry.name for entry in search(query).entries]


@pytest.mark.parametrize(
    ("query", "first"),
    [
        ("14 SWG", "14 SWG"),
        ("swg 14", "14 SWG"),
        ("brass", "brass-c260"),
        ("carbon tube 6", "carbon-tube"),
        ("carbon tube 6x4", "carbon-tube"),
        ("6 x 1 mm carbon tube", "carbon-tube"),
        ("music wire", "music-wire"),
        ("music wire 2 mm", "music-wire"),
        ("piano wire", "spring-steel-sm"),
        ("titanium grade 5", "titanium-grade-5"),
        ("threaded rod M4", "threaded-rod-4.6"),
        ("threaded-rod-4.8", "threaded-rod-4.8"),
        ("greyboard 2", "greyboard"),
        ("gray board", "greyboard"),
        ("collet", "collet"),
        ("collets", "collet"),
        ("sponge cake", "sponge-cake"),
        ("6061", "aluminium-6061-t6"),
        ("SWG", "SWG"),
    ],
)
def test_first_hit(query, first):
    assert found(query)[0] == first


def test_gauge_with_a_word_shows_the_gauge_and_what_is_sold_in_that_size():
    result = search("14 SWG brass")
    assert result.entries[0].name == "14 SWG"
    assert result.entries[0].facts[0].value == pytest.approx(2.032)
    assert {entry.name for entry in result.entries[1:]} == {"brass-c260", "brass-c360"}
    assert all("2 mm" in entry.matching_sizes for entry in result.entries[1:])


def test_a_bare_gauge_lists_all_three_and_asks():
    result = search("18 gauge")
    assert [entry.name for entry in result.entries[:3]] == ["18 AWG", "18 SWG", "18 MWG"]
    assert [round(entry.facts[0].value, 2) for entry in result.entries[:3]] == [1.02, 1.22, 1.04]
    assert result.notes == ('"18 gauge" does not say which gauge: ask the shop, or measure and give mm.',)


def test_a_gauge_number_that_does_not_exist():
    result = search("77 SWG")
    assert result.notes == ("SWG runs from 7/0 to 50.",)


def test_misspelt_words_are_corrected_and_said():
    result = search("brss tube")
    assert [entry.name for entry in result.entries] == ["brass-c260"]
    assert result.notes == ('Nothing is called "brss": showing "brass".',)


def test_nothing_found_suggests():
    result = search("qqqqq")
    assert result.entries == ()
    assert result.suggestions == ()
    assert search("shortbred-x").suggestions[:1] == ("shortbread",) or search("shortbred-x").entries


def test_a_size_filters_and_a_size_nobody_sells_is_said():
    assert "3 mm" in search("carbon rod 3").entries[0].matching_sizes
    result = search("carbon tube 7")
    assert result.notes == ("Nobody is known to sell that size; these are the nearest by name.",)
    assert {entry.name for entry in result.entries} >= {"carbon-tube"}
    assert found("1/8 in")
    assert "music-wire" in found("1/8 in")
    assert found("0.125 in") == found("1/8 in")
    assert found("59.3 mm") == []


HOSTILE = [
    "1/0 in",
    "0",
    "-3",
    "''",
    "[bold]",
    "(",
    "\\",
    "٣ mm",
    "9" * 400,
    "m99",
    "a " * 300,
    "\n",
    "x",
    "0 x 0",
]


def test_hostile_queries_do_not_raise():
    for query in HOSTILE:
        search(query)


def test_everything():
    result = search("")
    listed = [entry.name for entry in result.entries]
    expected = [*names(), *names("sheet"), *names("clamp"), *names("prop"), "AWG", "SWG", "MWG"]
    assert sorted(listed) == sorted(expected)
    assert search([]).entries == result.entries


def test_words_may_come_as_a_list():
    assert [entry.name for entry in search(["carbon", "tube", "6"]).entries] == ["carbon-tube"]


def test_values_at_the_size_that_was_asked_for():
    entry = search("music wire 2 mm").entries[0]
    assert entry.fact("youngs_modulus_GPa").value == pytest.approx(196.5)
    strength = entry.fact("tensile_strength_MPa")
    assert 1944 < strength.value < 2020
    assert entry.strength.key == "elastic_limit_MPa"
    without = search("music wire").entries[0]
    assert without.strength.value is None
    assert without.strength.low == pytest.approx(0.65 * 1586)
    assert without.strength.high == pytest.approx(0.75 * 2951)


def test_cycles_stand_beside_a_fatigue_strength():
    entry = search("aluminium-1100-o").entries[0]
    assert (
        entry.fact("fatigue_strength_MPa").condition
        == "reversed bending, smooth specimen; 500 million cycles"
    )


def test_sources_of_every_value_and_of_every_mention_come_along():
    result = search("aluminium-1100-o")
    assert set(result.sources) >= {"S10", "S12", "S14", "M-ASM"}
    result = search("")
    for entry in result.entries:
        for item in (*entry.facts, *entry.tables):
            assert item.source
            assert set(item.source) <= set(result.sources)
