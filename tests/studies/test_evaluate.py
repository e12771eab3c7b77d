"""The full check of a batch at rest: laws of statics and scaling, and that company changes nothing."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.files import rig_from_text
from rigcheck.studies.evaluate import Outcome, Settings, evaluate
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.rigs import Rig, repeat, stack, take
from rigcheck.studies.task import Task

GRAVITY = 9.80665
"""Standard gravity [m/s2], exact by definition (3rd CGPM, 1901)."""

STRAIGHT = """
[[prop]]
name = "inkwell"
mass = "120 g"
shape = "box"
size = ["50 mm", "40 mm", "60 mm"]
centre_of_mass = ["4 mm", "-3 mm", "12 mm"]
[[prop.support]]
material = "music-wire"
diameter = "{diameter}"
length = "{length}"
from = "{side}"
"""
SLEEVED = """
[[prop.support.sleeve]]
material = "brass-c260"
diameter = "4 mm"
wall = "0.45 mm"
end = "60 mm"
"""
SECOND = """
[[prop.support]]
material = "stainless-304-spring"
diameter = "2 mm"
path = [["0 mm", "-40 mm", "-160 mm"], ["0 mm", "0 mm", "-20 mm"], ["0 mm", "0 mm", "0 mm"]]
offset = ["25 mm", "10 mm", "0 mm"]
root_stiffness = "15 N*m/rad"
"""


def task(text: str) -> Task:
    shot = rig_from_text(text)
    return read_prop(shot, shot.prop[0]).task


def straight(diameter: str = "3 mm", length: str = "170 mm", side: str = "behind", more: str = "") -> Rig:
    return task(STRAIGHT.format(diameter=diameter, length=length, side=side) + more).rig


RIGS = {
    "straight": straight(),
    "sleeved": straight(more=SLEEVED),
    "several": straight(more=SECOND),
    "hanging": straight(side="above", diameter="1 mm"),
    "standing": straight(side="below"),
    "limp": straight(diameter="1.2 mm"),
}


def weight_of(rig: Rig) -> float:
    """Of the prop and all it hangs on [N], part by part."""
    total = float(rig.mass[0])
    for support in rig.supports:
        total += float((support.material.density * support.section.area * support.free_length)[0])
        for sleeve in support.sleeves:
            inner = sleeve.outer_diameter - 2 * sleeve.wall_thickness
            area = np.pi / 4 * (sleeve.outer_diameter**2 - inner**2)
            total += float((sleeve.material.density * area * (sleeve.end - sleeve.start))[0])
    return total * GRAVITY


@pytest.mark.parametrize("name", RIGS)
def test_roots_carry_the_whole_weight_and_nothing_else(name):
    """Equilibrium; to 1e-7 of the weight (stretch is 1e5 times as stiff as bending), 1e-6 where iterated to."""
    outcome = evaluate(RIGS[name])
    assert outcome.solved.all()
    force = sum(outcome.root_force)[0]
    tolerance = (1e-6 if outcome.large[0] else 1e-7) * weight_of(RIGS[name])
    assert force == pytest.approx([0, weight_of(RIGS[name]), 0], abs=tolerance)


@pytest.mark.parametrize("name", ["straight", "sleeved", "several"])
def test_what_the_prop_puts_on_the_tips_is_its_own_weight(name):
    force = sum(evaluate(RIGS[name]).tip_force)[0]
    assert force == pytest.approx([0, -float(RIGS[name].mass[0]) * GRAVITY, 0], abs=1e-8)


def numbers(outcome: Outcome) -> dict[str, np.ndarray]:
    """Every array of numbers that an outcome says of its variants."""
    found = {
        field.name: getattr(outcome, field.name)
        for field in fields(outcome)
        if isinstance(getattr(outcome, field.name), np.ndarray)
    }
    dynamics = outcome.dynamics
    # How many modes are kept depends on the company; what they do together does not.
    moved = dynamics.shape @ (dynamics.participation / dynamics.angular_frequency[..., None] ** 2)
    return {**found, "frequency": outcome.natural_frequency[:, :3], "moved": moved, "sag": outcome.sag}


def test_a_variant_does_not_depend_on_its_company():
    """Stiff and limp ones in one batch, some solved for large displacement: each as if alone, to rounding."""
    alone = [straight(diameter=size) for size in ("4 mm", "3 mm", "1.2 mm", "1 mm")]
    together = numbers(evaluate(stack(alone)))
    for place, rig in enumerate(alone):
        for name, values in numbers(evaluate(rig)).items():
            close = pytest.approx(np.asarray(values[0], dtype=float), rel=1e-9, abs=1e-12, nan_ok=True)
            assert np.asarray(together[name][place], dtype=float) == close, name


def test_what_is_solved_in_parts_is_what_is_solved_at_once(monkeypatch):
    rig = stack([straight("1 mm", f"{length} mm") for length in range(150, 170, 2)])
    whole = evaluate(rig)
    assert whole.large.all()
    monkeypatch.setattr("rigcheck.mechanics.large._MOST_ENTRIES", 7_000)  # three variants of 2 elements
    parts = evaluate(rig)
    np.testing.assert_array_equal(parts.large, whole.large)
    np.testing.assert_array_equal(parts.solved, whole.solved)
    for name, value in numbers(whole).items():
        np.testing.assert_allclose(numbers(parts)[name], value, rtol=1e-9, atol=1e-12, err_msg=name)


def test_take_repeat_and_stack_are_each_others_opposites():
    rig = straight(more=SECOND)
    assert numbers(evaluate(take(repeat(rig, 3), np.array([1]))))["sag"] == pytest.approx(evaluate(rig).sag)
    assert stack([rig, rig]).batch == repeat(rig, 2).batch == 2


def test_some_that_buckle_do_not_spoil_the_rest():
    rigs = [straight(diameter=size, side="below") for size in ("3 mm", "0.9 mm", "2.5 mm")]
    outcome = evaluate(stack(rigs), Settings(displacement="linear"))
    assert outcome.solved.tolist() == [True, False, True]
    for place in (0, 2):
        alone = evaluate(rigs[place], Settings(displacement="linear"))
        assert outcome.sag[place] == pytest.approx(alone.sag[0], rel=1e-9)
        assert outcome.buckling_factor[place] == pytest.approx(alone.buckling_factor[0], rel=1e-9)
    assert outcome.buckling_factor[1] < 1


LINEAR = Settings(displacement="linear", gravity_stiffness=False, shear=False)


@given(scale=st.floats(0.25, 4))
def test_stiffer_stuff_sags_less_in_proportion(scale):
    """Sag goes with 1/E, frequency with its root, stress stays: E is the only stiffness (derived here)."""
    rig = straight()
    material = rig.supports[0].material
    changed = replace(
        material,
        youngs_modulus=material.youngs_modulus * scale,
        shear_modulus=material.shear_modulus * scale,
    )
    stiffer = replace(rig, supports=(replace(rig.supports[0], material=changed),))
    before, after = evaluate(rig, LINEAR), evaluate(stiffer, LINEAR)
    assert after.sag * scale == pytest.approx(before.sag, rel=1e-9)
    assert after.peak_stress == pytest.approx(before.peak_stress, rel=1e-9)
    # the highest modes are the worst conditioned
    assert after.natural_frequency[:, :6] == pytest.approx(
        before.natural_frequency[:, :6] * np.sqrt(scale), rel=1e-7
    )


@given(scale=st.floats(0.5, 2))
def test_a_model_of_another_size(scale):
    """All lengths by s: masses s^3, sag s^2, stress s, frequency 1/s (similarity under gravity; derived here)."""
    rig = straight()
    support = rig.supports[0]
    model = replace(
        rig,
        mass=rig.mass * scale**3,
        inertia=rig.inertia * scale**5,
        centre_of_mass=rig.centre_of_mass * scale,
        supports=(replace(support, diameter=support.diameter * scale, points=support.points * scale),),
    )
    settings = Settings(displacement="linear", gravity_stiffness=False)
    before, after = evaluate(rig, settings), evaluate(model, settings)
    assert after.sag == pytest.approx(before.sag * scale**2, rel=1e-9)
    assert after.rotation == pytest.approx(before.rotation * scale, rel=1e-9, abs=1e-15)
    assert after.peak_stress == pytest.approx(before.peak_stress * scale, rel=1e-9)
    assert after.natural_frequency[:, :6] * scale == pytest.approx(before.natural_frequency[:, :6], rel=1e-7)


@given(more=st.floats(1.05, 3))
def test_more_mass_sags_more_and_sways_slower(more):
    rig = straight()
    heavier = replace(rig, mass=rig.mass * more, inertia=rig.inertia * more)
    light, heavy = evaluate(rig), evaluate(heavier)
    assert heavy.sag[0] > light.sag[0]
    assert heavy.strength_factor[0] < light.strength_factor[0]
    assert np.all(heavy.natural_frequency[0, :6] < light.natural_frequency[0, :6])


def test_large_displacement_meets_the_linear_one_where_the_sag_is_small():
    """They differ by the square of the sag over the length, of a size of (0.3/170)^2 here."""
    rig = straight(diameter="6 mm")
    small, large = (
        evaluate(rig, Settings(displacement="linear")),
        evaluate(rig, Settings(displacement="large")),
    )
    assert bool(large.large[0])
    assert not small.large[0]
    assert large.sag == pytest.approx(small.sag, rel=1e-4)
    assert large.rotation == pytest.approx(small.rotation, rel=1e-3, abs=1e-6)
    assert large.natural_frequency[:, :4] == pytest.approx(small.natural_frequency[:, :4], rel=1e-3)
    assert large.strength_factor == pytest.approx(small.strength_factor, rel=1e-3)


def test_static_follow_is_the_sag_under_gravity():
    """Gravity is a steady field of acceleration: what follows a unit one, times g down, is the settled state."""
    outcome = evaluate(straight(), LINEAR)
    settled = outcome.dynamics.follow[:, :3, :3] @ np.array([0, -GRAVITY, 0])
    assert settled == pytest.approx(outcome.displacement, rel=1e-9, abs=1e-15)


def test_modes_that_are_all_kept_leave_little_to_follow():
    """The static remainder shrinks as modes are added, and the sum stays (completeness of modes)."""
    outcome = evaluate(straight(), Settings(modes=30))
    whole = np.abs(outcome.dynamics.follow[0, :3, :3]).max()
    sizes = [np.abs(outcome.dynamics.lowest(count).remainder[0, :3, :3]).max() for count in (2, 6, 16)]
    assert sizes[0] > sizes[-1]
    assert sizes[-1] < 1e-3 * whole


def test_stress_is_that_of_the_weakest_layer():
    """A brass sleeve that yields before the wire in it sets the factor, though the wire is stressed more."""
    sleeved = evaluate(straight(more=SLEEVED))
    labels = [part.label for part in sleeved.parts]
    assert labels == ["wire", "sleeve", "wire"]
    strengths = {part.label: float(part.strength[0]) for part in sleeved.parts}
    assert strengths["sleeve"] < strengths["wire"]
    assert sleeved.strength_factor[0] <= strengths["wire"] / sleeved.peak_stress[0] * (1 + 1e-12)


def test_strength_that_is_not_known_is_not_a_number():
    rig = straight()
    material = replace(rig.supports[0].material, strength=np.array([np.nan]))
    unknown = replace(rig, supports=(replace(rig.supports[0], material=material),))
    assert np.isnan(evaluate(unknown).strength_factor).all()
    assert np.isfinite(evaluate(unknown).peak_stress).all()
