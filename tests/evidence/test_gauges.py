"""Wire gauges against the published formula and lists.

AWG: ASTM B258 defines 36 AWG = 0.005 in and 4/0 AWG = 0.460 in with 39 equal ratios between (as quoted by S73
of `materials/sources.toml`). The rounded mm values were computed from that formula by others (derived).
SWG: mm values of BS 3737:1964 (withdrawn) as printed on the page S74, recomputed from inches.
Music wire gauge: mm values from the inches of the page S75.
The data file holds inches (SWG, MWG) or the formula's constants (AWG); the lists below are millimetres.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.errors import UnitError
from rigcheck.stock import gauge_diameter, looks_like_gauge
from rigcheck.stock.gauges import gauge_numbers

pytestmark = pytest.mark.evidence(
    what="Wire gauges",
    source="ASTM B258 formula; BS 3737:1964 and music wire lists as printed by sources S73 to S75",
    serves="stock",
)

AWG = """4=5.189 6=4.115 8=3.264 10=2.588 12=2.053 14=1.628 16=1.291 18=1.024 20=0.812 22=0.644 24=0.511
26=0.405 28=0.321 30=0.255"""
SWG = """7/0=12.700 6/0=11.786 5/0=10.973 4/0=10.160 3/0=9.449 2/0=8.839 0=8.230 1=7.620 2=7.010 3=6.401
4=5.893 5=5.385 6=4.877 7=4.470 8=4.064 9=3.658 10=3.251 11=2.946 12=2.642 13=2.337 14=2.032
15=1.829 16=1.626 17=1.422 18=1.219 19=1.016 20=0.914 21=0.813 22=0.711 23=0.610 24=0.559 25=0.508
26=0.457 27=0.417 28=0.376 29=0.345 30=0.315 31=0.295 32=0.274 33=0.254 34=0.234 35=0.213 36=0.193
37=0.173 38=0.152 39=0.132 40=0.122 41=0.112 42=0.102 43=0.091 44=0.081 45=0.071 46=0.061 47=0.051
48=0.041 49=0.030 50=0.025"""
MWG = """6/0=0.102 5/0=0.127 4/0=0.152 3/0=0.178 2/0=0.203 0=0.229 1=0.254 2=0.279 3=0.305 4=0.330 5=0.356
6=0.406 7=0.457 8=0.508 9=0.559 10=0.610 11=0.660 12=0.737 13=0.787 14=0.838 15=0.889 16=0.940
17=0.991 18=1.041 19=1.092 20=1.143 21=1.194 22=1.245 23=1.295 24=1.397 25=1.499 26=1.600 27=1.702
28=1.803 29=1.905 30=2.032 31=2.159 32=2.286 33=2.413 34=2.540 35=2.692 36=2.845 37=2.997 38=3.175
39=3.302 40=3.505 41=3.708 42=3.912 43=4.115 44=4.318 45=4.572"""


def rows(text):
    return [(number, float(value)) for number, value in (pair.split("=") for pair in text.split())]


@pytest.mark.parametrize(("gauge", "text", "count"), [("AWG", AWG, 14), ("SWG", SWG, 57), ("MWG", MWG, 51)])
def test_published_list(gauge, text, count):
    listed = rows(text)
    assert len(listed) == count
    for number, millimetres in listed:
        # Printed to 0.001 mm: half of that, and a rounding of the half itself.
        assert gauge_diameter(f"{number} {gauge}") * 1e3 == pytest.approx(millimetres, abs=0.00051), number
    if gauge != "AWG":
        assert gauge_numbers(gauge.lower()) == tuple(number for number, _ in listed)


def test_awg_definition():
    # ASTM B258: the two defining sizes, and the ratio between neighbours is the 39th root of 92.
    assert gauge_diameter("36 AWG") == pytest.approx(0.005 * 0.0254, rel=1e-14)
    for text in ("4/0 AWG", "0000 AWG", "AWG 4/0"):
        assert gauge_diameter(text) == pytest.approx(0.460 * 0.0254, rel=1e-12)
    for number in range(56):
        ratio = gauge_diameter(f"{number} AWG") / gauge_diameter(f"{number + 1} AWG")
        assert ratio == pytest.approx(92 ** (1 / 39), rel=1e-12)
    assert gauge_diameter("0 AWG") == gauge_diameter("1/0 AWG")
    assert gauge_diameter("00 AWG") == gauge_diameter("2/0 AWG")


def test_swg_definition():
    # BS 3737 lists inches: spot checks of the inch list itself (from memory, Machinery's Handbook).
    listed = {"7/0": 0.500, "1": 0.300, "10": 0.128, "16": 0.064, "27": 0.0164, "50": 0.001}
    for number, inches in listed.items():
        assert gauge_diameter(f"{number} SWG") == pytest.approx(inches * 0.0254, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "14 SWG",
        "14swg",
        " 14 swg ",
        "SWG 14",
        "#14 SWG",
        "No. 14 SWG",
        "14 S.W.G.",
        "14 standard wire gauge",
        "14-SWG",
    ],
)
def test_ways_to_write_one_gauge(text):
    assert looks_like_gauge(text)
    assert gauge_diameter(text) == pytest.approx(2.032e-3)


@pytest.mark.parametrize("text", ["18 MWG", "18 music wire", "18 music wire gauge", "MWG 18"])
def test_ways_to_write_the_music_wire_gauge(text):
    assert gauge_diameter(text) == pytest.approx(1.0414e-3)


@pytest.mark.parametrize("text", ["18 gauge", "18 ga", "18ga.", "gauge 18", "#18 gauge"])
def test_a_bare_gauge_asks_which(text):
    with pytest.raises(UnitError) as caught:
        gauge_diameter(text)
    assert str(caught.value) == (
        f'"{text}" does not say which gauge: 18 AWG 1.02 mm, 18 SWG 1.22 mm, 18 MWG 1.04 mm '
        "(MWG is music wire). "
        'Write the gauge, for example "18 AWG", or the diameter in mm.'
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("51 SWG", 'SWG has no number 51 ("51 SWG"): it runs from 7/0 to 50.'),
        ("46 MWG", 'MWG has no number 46 ("46 MWG"): it runs from 6/0 to 45.'),
        ("5/0 AWG", 'AWG has no number 5/0 ("5/0 AWG"): it runs from 4/0 to 56.'),
        ("99 gauge", 'No wire gauge has the number 99 ("99 gauge"). Give the diameter in mm.'),
        ("3 mm", '"3 mm" is not a wire gauge. Write a number and AWG, SWG or MWG, for example "14 SWG".'),
        (
            "1.5 SWG",
            '"1.5 SWG" is not a wire gauge. Write a number and AWG, SWG or MWG, for example "14 SWG".',
        ),
        ("", '"" is not a wire gauge. Write a number and AWG, SWG or MWG, for example "14 SWG".'),
    ],
)
def test_what_is_not_a_gauge(text, message):
    with pytest.raises(UnitError) as caught:
        gauge_diameter(text)
    assert str(caught.value) == message


def test_grams_and_digits_of_other_scripts_are_not_gauges():
    for text in ("18 g", "18 grams", "٣ SWG", "-3 SWG", "music wire 2 mm", "180 SWG", "14 SWG 3"):
        assert not looks_like_gauge(text), text


@given(st.text(max_size=30))
def test_any_text_gives_a_diameter_or_a_plain_error(text):
    try:
        diameter = gauge_diameter(text)
    except UnitError:
        return
    assert 0 < diameter < 0.02
