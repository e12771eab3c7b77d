"""Ranges: the same digits from the same seed, and inputs that are read as they are said to be."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import qmc

from rigcheck.errors import ArgumentError
from rigcheck.files import read_rig, rig_from_text
from rigcheck.studies import uncertainty
from rigcheck.studies.beside import on_several
from rigcheck.studies.check import check
from rigcheck.studies.inputs import Input, inputs_of, perturbed
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Finding, Status
from rigcheck.studies.rigs import take
from rigcheck.studies.sampling import POINTS, SEED, enough_points, first_order_shares, quantile_range, sample
from rigcheck.studies.uncertainty import chances_of, ranges, ranges_of, surely_fails, with_chances
from rigcheck.studies.work import work_on
from rigcheck.units import measured

RIG = """
[camera]
field_width = "420 mm"
image_width = 3840
{extra}
[[prop]]
name = "ink bottle"
mass = "{mass}"
shape = "cylinder"
size = ["45 mm", "60 mm", "45 mm"]
centre_of_mass = ["0 mm", "0 mm", "12 mm"]
[[prop.support]]
material = "music-wire"
diameter = "{diameter}"
length = "160 mm"
clamp = "collet"
[[prop.move]]
slide = "150 mm"
along = "up"
duration = "{duration}"
"""


def rig(mass="120 g", diameter="3 mm", duration="2 s", extra=""):
    return rig_from_text(RIG.format(mass=mass, diameter=diameter, duration=duration, extra=extra))


def test_the_seed_fixes_every_digit():
    shot = rig()
    one, same, other = (ranges(shot, shot.prop[0], points=32, seed=seed) for seed in (5, 5, 6))
    assert dict(one.ranges) == dict(same.ranges)
    assert one.chance_of_pass == same.chance_of_pass
    assert one.influences == same.influences
    assert dict(one.ranges) != dict(other.ranges)


def test_the_middle_of_the_inputs_is_the_check():
    shot = rig()
    task = read_prop(shot, shot.prop[0]).task
    inputs = inputs_of(shot, shot.prop[0])
    middle = perturbed(task, inputs, np.zeros((1, len(inputs)))).evaluate()
    found = check(shot).props[0]
    assert middle.sag[0] == pytest.approx(found.static.sag.m_as("m"), rel=1e-12)
    result = ranges(shot, shot.prop[0])
    low, high = result.ranges["sag_mm"]
    assert low < found.static.sag.m_as("mm") < high
    low, high = result.ranges["frequency_Hz"]
    assert low < found.modes[0].frequency.m_as("Hz") < high
    assert set(result.ranges) == {"sag_mm", "frequency_Hz", "residual_wobble_px", "settle_s", "yield_factor"}


@pytest.mark.parametrize("is_positive", [True, False])
def test_ends_are_beyond_one_in_twenty_each(is_positive):
    item = Input(
        label="x",
        kind="mass",
        value=1.0,
        low=0.8,
        high=1.5,
        is_positive=is_positive,
        source="given",
        target=("mass", 0),
    )
    values = item.at(sample(1, 4096, 1)[:, 0])
    assert np.mean(values < 0.8) == pytest.approx(0.05, abs=0.001)
    assert np.mean(values > 1.5) == pytest.approx(0.05, abs=0.001)
    assert np.median(values) == pytest.approx(1.0, abs=2e-3)


def test_given_ranges_take_the_place_of_usual_ones():
    shot = rig("120 g +/- 20 g", "3 mm +/- 0.2 mm", "2 s +/- 0.1 s")
    inputs = {item.label: item for item in inputs_of(shot, shot.prop[0])}
    assert inputs["mass of the prop"].source == "given"
    assert inputs["mass of the prop"].high == pytest.approx(0.140)
    assert inputs["diameter"].low == pytest.approx(2.8e-3)
    assert inputs["duration of move 1"].kind == "move"
    assert inputs["free length"].source == "usual"
    assert "duration of move 1" not in {item.label for item in inputs_of(rig(), rig().prop[0])}
    wide, narrow = ranges(shot, shot.prop[0]), ranges(rig(), rig().prop[0])
    assert np.diff(wide.ranges["sag_mm"]) > 2 * np.diff(narrow.ranges["sag_mm"])


def test_what_matters_most_is_named_with_its_measurement():
    shot = rig("120 g +/- 40 g")
    result = ranges(shot, shot.prop[0])
    first = next(item for item in result.influences if item.figure == "sag_mm")
    assert first.label == "mass of the prop"
    assert first.share > 0.8
    assert "weigh the prop" in first.measure
    # d^4 against m: 10 % of the diameter outweighs 2 % of the mass.
    shot = rig(diameter="3 mm +/- 0.3 mm")
    result = ranges(shot, shot.prop[0])
    assert next(item for item in result.influences if item.figure == "frequency_Hz").label == "diameter"


def test_shares_of_an_additive_function():
    """y = 3 a + 2 b + (c^2 - 1) has variance 9 + 4 + 2 (derived here)."""
    z = sample(4, 256, 3)
    y = 3 * z[:, 0] + 2 * z[:, 1] + z[:, 2] ** 2 - 1
    assert first_order_shares(z, y) == pytest.approx([9 / 15, 4 / 15, 2 / 15, 0], abs=0.03)
    few = sample(9, POINTS, 3)
    y = 3 * few[:, 0] + 2 * few[:, 1] + few[:, 2] ** 2 - 1
    assert first_order_shares(few, y)[:3] == pytest.approx([9 / 15, 4 / 15, 2 / 15], abs=0.06)
    assert first_order_shares(z, np.ones(256)).tolist() == [0, 0, 0, 0]


def test_a_product_has_no_share_of_its_own():
    z = sample(2, 512, 3)
    assert first_order_shares(z, z[:, 0] * z[:, 1]).max() < 0.05


def test_chances():
    sure = ranges(rig("5 g"), rig("5 g").prop[0])
    assert sure.chance_of_pass == 1.0
    shot = rig(extra='[limits]\nhazard = "overhead"')
    assert ranges(shot, shot.prop[0]).chance_of_pass == 0.0
    middle = check(rig()).props[0].static.sag.m_as("mm")
    shot = rig(extra=f'[limits]\nsag = "{middle:.6f} mm"')
    # The limit is the middle value, so about half the variants keep it.
    assert 0.3 < ranges(shot, shot.prop[0]).chances["sag"] < 0.7


@pytest.mark.parametrize("count", [1, 2, 7, 32, 64, 96])
def test_ends_of_a_range_are_the_median_unbiased_quantiles(count):
    values = np.random.default_rng(count).lognormal(size=count)
    wanted = np.quantile(values, [0.05, 0.95], method="median_unbiased")
    assert quantile_range(values) == pytest.approx(tuple(wanted), rel=1e-12)


def test_an_endless_settling_leaves_the_range_open():
    assert quantile_range(np.array([0.5] * 60 + [np.inf] * 40)) == (0.5, np.inf)


@pytest.mark.parametrize(("inputs", "points"), [(3, 0), (3, 16), (3, 33), (20, 32), (13, 32)])
def test_points_must_be_enough(inputs, points):
    with pytest.raises(ArgumentError, match=f"such as {enough_points(inputs)}"):
        sample(inputs, points, 1)


@pytest.mark.parametrize("inputs", [1, 2, 9, 12, 13, 30])
def test_every_input_takes_every_slice_once(inputs):
    points = enough_points(inputs)
    slices = np.sort(ndtr(sample(inputs, points, SEED)) * points - 0.5, axis=0)
    assert slices == pytest.approx(np.tile(np.arange(points)[:, None], inputs), abs=1e-9)


def test_the_sample_is_as_even_as_that_of_a_library():
    """Against scipy.stats.qmc: centred discrepancy and correlation, means over 20 seeds.

    A Sobol sequence of 32 points in nine dimensions is uneven in many pairs; from some hundred on it is better.
    """
    ours, sobol, cube = [], [], []
    for seed in range(20):
        ours.append(ndtr(sample(9, 32, seed)))
        sobol.append(qmc.Sobol(9, rng=np.random.default_rng(seed)).random(32))
        cube.append(qmc.LatinHypercube(9, rng=np.random.default_rng(seed)).random(32))

    def discrepancy(sets):
        return np.mean([qmc.discrepancy(one) for one in sets])

    def correlation(sets):
        return np.mean([np.abs(np.corrcoef(one.T) - np.eye(9)).max() for one in sets])

    assert discrepancy(ours) < discrepancy(sobol)
    assert discrepancy(ours) < discrepancy(cube)
    assert correlation(ours) < 0.2
    assert correlation(sobol) > 0.3


def test_ranges_agree_with_those_of_a_long_sobol_sequence():
    """32 variants against 1024 of scipy.stats.qmc.Sobol, through the same engine.

    The end of a 90 % range from 32 even points lies within about a fifth of a standard deviation (twice that is asked
    for); a chance within 0.16, two standard errors.
    """
    shot = rig("200 g", duration="0.6 s")
    prop = shot.prop[0]
    task, inputs = read_prop(shot, prop).task, inputs_of(shot, prop)
    uniform = qmc.Sobol(len(inputs), rng=np.random.default_rng(8)).random(1024)
    from scipy.special import ndtri

    still = perturbed(task, inputs, np.clip(ndtri(uniform), -4, 4)).evaluate()
    found = ranges(shot, prop)
    for name, values in (("sag_mm", still.sag * 1e3), ("frequency_Hz", still.natural_frequency[:, 0])):
        assert found.ranges[name] == pytest.approx(quantile_range(values), abs=0.4 * np.std(values))
    limit = float(np.quantile(still.sag, 0.7)) * 1e3
    shot = rig("200 g", duration="0.6 s", extra=f'[limits]\nsag = "{limit:.6f} mm"')
    assert ranges(shot, shot.prop[0]).chances["sag"] == pytest.approx(0.7, abs=0.16)


def test_a_variant_is_what_it_is_alone():
    shot = rig("200 g", "2 mm", "0.6 s")
    task, inputs = read_prop(shot, shot.prop[0]).task, inputs_of(shot, shot.prop[0])
    varied = perturbed(task, inputs, sample(len(inputs), 32, SEED))
    still = varied.evaluate()
    wobble = varied.move(still, course=False).residual_px
    for index in (0, 9, 31):
        one = replace(
            varied,
            rig=take(varied.rig, np.array([index])),
            travels=take(varied.travels, np.array([index])),
        )
        alone = one.evaluate()
        assert alone.sag[0] == pytest.approx(still.sag[index], rel=1e-9)
        assert one.move(alone, course=False).residual_px[0] == pytest.approx(wobble[index], rel=1e-7)


STANDING = """
[[prop]]
name = "card"
mass = "{mass}"
[[prop.support]]
material = "music-wire"
diameter = "1 mm"
length = "180 mm"
from = "below"
"""


def test_variants_that_fold_count_as_failing_and_open_the_range():
    """A wire standing at 0.99 of its buckling load (by the program's own factor): with its spread some fold.

    By linear theory these have no settled state; for large displacement they lean over and come to rest.
    """
    shot = rig_from_text('[analysis]\ndisplacement = "linear"\n' + STANDING.format(mass="75 g"))
    result = ranges(shot, shot.prop[0])
    assert 4 < result.unsolved < 28
    assert result.ranges["frequency_Hz"][0] == 0.0
    assert result.ranges["sag_mm"][1] == np.inf
    assert result.chance_of_pass == 0.0  # all stand at less than three times below buckling
    assert any(f"{result.unsolved} of {result.points} variants" in text for text in result.assumptions)


def test_what_has_no_settled_state_has_no_range():
    result = check(rig_from_text(STANDING.format(mass="90 g"))).props[0]
    assert (result.ranges, result.chance_of_pass) == ({}, None)
    assert any("Ranges are left out" in text for text in result.assumptions)


def test_a_check_carries_its_ranges():
    shot = rig("120 g +/- 20 g")
    result, alone = check(shot).props[0], ranges(shot, shot.prop[0])
    assert dict(result.ranges) == dict(alone.ranges)
    assert result.influences == alone.influences
    chances = {item.id: item.chance_of_pass for item in result.findings if item.chance_of_pass is not None}
    assert chances == {name: alone.chances[name] for name in chances}
    assert set(chances) == {"yield-factor", "sag", "residual-wobble", "settle"}
    assert "set" not in chances
    assert any(text.startswith("Without a range") and "lasting bend" in text for text in result.assumptions)


def test_what_is_not_varied_but_fails_leaves_no_chance():
    """The axis is rated for less than the prop weighs: in every variant."""
    text = (
        RIG.format(mass="5 g", diameter="3 mm", duration="2 s", extra="") + '[prop.axis]\npayload = "1 g"\n'
    )
    result = check(rig_from_text(text.replace("[[prop.move]]", "", 0))).props[0]
    assert result.verdict == "fail"
    assert result.chance_of_pass == 0.0
    assert check(rig("5 g")).props[0].chance_of_pass == 1.0


def test_every_range_of_the_file_is_used_or_said_to_be_left_out():
    def unused(extra="", **given):
        text = RIG.format(**({"mass": "120 g", "diameter": "3 mm", "duration": "2 s", "extra": ""} | given))
        return [
            item.says
            for item in check(rig_from_text(text + extra)).props[0].findings
            if item.id == "not-used----"
        ]

    assert not unused(mass="120 g +/- 5 g", diameter="3 mm +/- 0.1 mm", duration="2 s +/- 0.1 s")
    said = unused(extra='start = "0 s"\n[prop.axis]\nstiffness = "90 N*m/rad +/- 9 N*m/rad"\n')
    assert not said


def test_the_stiffness_of_the_head_is_varied_where_its_range_is_given():
    axis = '[prop.axis]\nstiffness = "9 N*m/rad +/- 40 %"\n'
    text = RIG.format(mass="120 g", diameter="3 mm", duration="2 s", extra="") + axis
    shot = rig_from_text(text)
    first = next(item for item in ranges(shot, shot.prop[0]).influences if item.figure == "sag_mm")
    assert first.label == "stiffness of the head"


def test_strength_spreads_the_strength_factor_alone():
    shot = rig()
    found = {item.figure: item for item in reversed(ranges(shot, shot.prop[0]).influences)}
    assert found["yield_factor"].label == "strength of music-wire"
    assert all(
        "strength" not in item.label
        for item in ranges(shot, shot.prop[0]).influences
        if item.figure == "sag_mm"
    )


def test_too_many_keyframes_leave_the_wobble_without_a_range(tmp_path):
    path = tmp_path / "keys.csv"
    times = np.linspace(0, 20, 15_000)
    rows = "\n".join(f"{t:.6f},{100 * (t / 20) ** 2 * (3 - t / 10):.9f}" for t in times)
    path.write_text(f"time_s,value\n{rows}\n")
    text = RIG.format(mass="60 g", diameter="3 mm", duration="2 s", extra="")
    text = text[: text.index("[[prop.move]]")] + f'[[prop.move]]\nslide = "1 mm"\nkeys = "{path}"\n'
    file = tmp_path / "rig.toml"
    file.write_text(text.replace(str(path), path.name))
    shot = read_rig(file)
    result = ranges(shot, shot.prop[0])
    assert "residual_wobble_px" not in result.ranges
    assert "sag_mm" in result.ranges
    assert any("too many keyframes" in said for said in result.assumptions)


SEVERAL = """
[camera]
field_width = "420 mm"
image_width = 3840
[[prop]]
name = "card"
mass = "60 g"
size = ["90 mm", "50 mm", "70 mm"]
[[prop.support]]
material = "{material}"
diameter = "{size}"
length = "{length}"
{more}
[[prop.move]]
slide = "150 mm"
along = "up"
duration = "2 s"
"""
SUPPORTS = (
    {"size": "3 mm"},
    {"size": "1.6 mm"},  # some of its variants sag too far for linear theory
    {"size": "2 mm"},
    {"size": "0.8 mm"},  # all of them do
    {"size": "3 mm", "material": "carbon-rod"},
    {"size": "4 mm", "material": "carbon-tube", "more": 'section = "tube"\nwall = "0.5 mm"'},
    {"size": "0.05 mm", "length": "3.5 m"},  # in doubt
    {"size": "6 mm", "length": "60 mm"},
)


@pytest.mark.parametrize("most_work", [uncertainty._MOST_WORK, 40_000, 1_000])
def test_chances_of_several_supports_together_are_those_of_each(monkeypatch, most_work):
    """Whatever else is in the batch, and where some alone would take too much work."""
    monkeypatch.setattr(uncertainty, "_MOST_WORK", most_work)
    usual = {"material": "music-wire", "length": "180 mm", "more": ""}
    shots = [rig_from_text(SEVERAL.format(**usual | one)) for one in SUPPORTS]
    first = shots[0].prop[0]
    pair = on_several(first, first.support[0], count=2, spacing=0.03)
    shots.append(shots[0].model_copy(update={"prop": (pair,)}))
    works = [work_on(shot, shot.prop[0]) for shot in shots]
    together, alone = chances_of(works), [ranges_of(work) for work in works]
    assert [one is None for one in together] == [one is None for one in alone]
    assert together[6] is None
    assert (together[1] is None) == (most_work < 2_000)
    assert (together[3] is None) == (most_work < 100_000)
    known = [(one, other) for one, other in zip(together, alone, strict=True) if one is not None]
    assert len(known) >= 5
    for one, other in known:
        assert one.chance_of_pass == other.chance_of_pass
        assert dict(one.chances) == dict(other.chances)
    assert len({one.chance_of_pass for one, _ in known}) > 2


@pytest.mark.parametrize(
    ("hazard", "extra", "sure"),
    [
        ("clear", [], False),
        ("overhead", [], True),
        ("clear", [("hidden", Status.CAUTION)], True),
        ("clear", [("grip", Status.FAIL)], True),
        ("clear", [("hidden", Status.SKIPPED), ("grip", Status.PASS)], False),
        ("clear", [("sag", Status.CAUTION)], False),
    ],
)
def test_what_fails_in_any_case_needs_no_variants(hazard, extra, sure):
    shot = rig(mass="60 g", diameter="4 mm", duration="4 s", extra=f'[limits]\nhazard = "{hazard}"')
    work = work_on(shot, shot.prop[0])
    findings = tuple(Finding(id=name, label=name, status=status, says="") for name, status in extra)
    assert surely_fails(work, findings) is sure
    assert (with_chances(findings, ranges_of(work))[1] == 0.0) is sure


def test_what_is_kept_of_a_sample_cannot_be_changed():
    kept = sample(4, POINTS, SEED)
    with pytest.raises(ValueError, match="read-only"):
        kept[0] = 0.0
    assert np.array_equal(sample(4, POINTS, SEED), kept)


def test_a_load_that_buckles_nothing_but_for_rounding():
    """A light prop on a level wire: what compresses it is nothing, and comes out as less than nothing in some."""
    shot = read_rig("shared/shots/desk-set.toml")
    crane = shot.find_prop("paper crane")
    wire = {"material": "hard-drawn-steel", "diameter": measured(2.2e-3, "m")}
    crane = crane.model_copy(update={"support": (crane.support[0].model_copy(update=wire),)})
    assert ranges(shot, crane).chances["buckling"] == 1.0
