"""Do 90 % ranges hold 90 %? Against direct Monte Carlo, and shares against the closed form of a cantilever."""

from dataclasses import replace

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.reading import read_prop
from rigcheck.studies.rigs import repeat, take
from rigcheck.studies.uncertainty import (
    POINTS,
    Input,
    first_order_shares,
    perturbed,
    quantile_range,
    sample,
)

RIG = """
[analysis]
displacement = "linear"
[[prop]]
name = "card"
mass = "60 g"
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 mm"
"""
RIGS, DRAWS = 500, 4


def inputs_for(diameter, length, mass, rng):
    def item(label, value, share, target):
        return Input(
            label=label,
            kind="mass",
            value=value,
            low=value * (1 - share),
            high=value * (1 + share),
            is_positive=True,
            source="given",
            target=target,
        )

    shares = rng.uniform(0.005, 0.15, 4)
    return (
        item("mass", mass, shares[0], ("mass", 0)),
        item("diameter", diameter, 0.3 * shares[1], ("diameter", 0)),
        item("length", length, shares[2], ("length", 0)),
        item("stiffness", 207e9, shares[3], ("youngs_modulus", 0)),
    )


def test_ranges_hold_as_many_outcomes_as_they_say():
    """500 random cantilevers with known distributions; of 2000 direct draws 87 to 93 % lie in the 90 % ranges.

    The distributions are the program's reading of a range; the draws come from numpy's generator. 2000 draws of 90 %
    have a standard deviation of 0.7 %.
    """
    rng = np.random.default_rng(11)
    shot = rig_from_text(RIG)
    base = read_prop(shot, shot.prop[0]).task
    tasks, whole = [], POINTS + DRAWS
    for _ in range(RIGS):
        diameter, length, mass = rng.uniform(1.5e-3, 5e-3), rng.uniform(0.06, 0.3), rng.uniform(0.01, 0.2)
        support = base.rig.supports[0]
        points = support.points * (length / 0.18)
        rig = replace(
            base.rig,
            mass=np.array([mass]),
            supports=(replace(support, diameter=np.array([diameter]), points=points),),
        )
        inputs = inputs_for(diameter, length, mass, rng)
        deviates = np.concatenate(
            [sample(4, POINTS, int(rng.integers(1 << 30))), rng.standard_normal((DRAWS, 4))]
        )
        tasks.append(perturbed(replace(base, rig=rig), inputs, deviates))
    held = {"sag": 0, "frequency": 0}
    from rigcheck.studies.rigs import stack

    for start in range(0, RIGS, 8):
        part = tasks[start : start + 8]
        joined = replace(base, rig=stack([task.rig for task in part]))
        still = joined.evaluate()
        figures = {"sag": still.sag, "frequency": still.natural_frequency[:, 0]}
        for name, values in figures.items():
            for one in values.reshape(-1, whole):
                low, high = quantile_range(one[:POINTS])
                held[name] += int(np.sum((one[POINTS:] >= low) & (one[POINTS:] <= high)))
    for count in held.values():
        assert 0.87 <= count / (RIGS * DRAWS) <= 0.93


def test_shares_of_a_cantilever_are_those_of_its_closed_form():
    """Sag m g L^3/(3 E I) is a product, so ln(sag) adds ln m + 3 ln L - ln E - 4 ln d: shares (derived here).

    Spreads are small, so that shares of the sag and of its logarithm agree to the order of the spread; the wire's own
    weight, under 2 % of the prop's, moves them by about as much.
    """
    shot = rig_from_text(RIG.replace("60 g", "600 g").replace("180 mm", "60 mm"))
    base = read_prop(shot, shot.prop[0]).task
    spreads = {"mass": 0.04, "diameter": 0.01, "length": 0.01, "youngs_modulus": 0.03}
    values = {"mass": 0.6, "diameter": 3e-3, "length": 0.06, "youngs_modulus": 207e9}
    inputs = tuple(
        Input(
            label=name,
            kind="mass",
            value=values[name],
            low=values[name] * (1 - share),
            high=values[name] * (1 + share),
            is_positive=True,
            source="given",
            target=(name, 0),
        )
        for name, share in spreads.items()
    )
    deviates = sample(4, 128, 2)
    found = first_order_shares(deviates, perturbed(base, inputs, deviates).evaluate().sag)
    parts = np.array([0.04, 4 * 0.01, 3 * 0.01, 0.03]) ** 2
    assert found == pytest.approx(parts / parts.sum(), abs=0.03)


def test_variants_of_a_sample_are_what_they_are_alone():
    shot = rig_from_text(RIG)
    base = read_prop(shot, shot.prop[0]).task
    inputs = inputs_for(3e-3, 0.18, 0.06, np.random.default_rng(1))
    varied = perturbed(base, inputs, sample(4, 32, 4))
    together = varied.evaluate()
    alone = replace(base, rig=take(varied.rig, np.array([17]))).evaluate()
    assert together.sag[17] == pytest.approx(alone.sag[0], rel=1e-10)
    assert repeat(base.rig, 3).batch == 3
