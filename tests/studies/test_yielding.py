"""Where a wire that yields settles: hand sums over the fibres of its section, and shooting where it goes far."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from check_parts import computed
from lasting_rigs import OWN, TUBE, wire
from numpy.polynomial.legendre import leggauss
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.lasting import lasting
from rigcheck.studies.results import Status
from rigcheck.studies.yielding import with_yielding

G = 9.80665
E, PROOF, D, LENGTH, DENSITY = 68.9e9, 34e6, 0.0015, 0.2, 2710.0  # aluminium-1100-o and the wire of `wire`
LARGE = '[analysis]\ndisplacement = "large"\n'
LINEAR = '[analysis]\ndisplacement = "linear"\n'


def both(text: str) -> tuple[Outcome, Outcome, float | None]:
    """The elastic state, the one that yields, and the bend that stays [m]."""
    work = computed(text)
    return work.reading.task.evaluate(), work.still, lasting(replace(work, motion=None))[1]


def curvature_law(onset: float):
    """Curvature at a moment, by fibres; the law of stress as `rigcheck.mechanics.plasticity` describes it."""
    points, weights = leggauss(400)
    y = D / 2 * (points + 1) / 2
    first, last = onset * PROOF / E, PROOF / E + (0.002 if onset < 1 else 0.0)
    curvature = first / (D / 2) * np.concatenate([np.linspace(0, 3, 300), np.geomspace(3.01, 300, 500)])
    strain = curvature[:, None] * y
    middle = onset * PROOF + (1 - onset) * PROOF * (strain - first) / (last - first) if onset < 1 else PROOF
    stress = np.where(strain <= first, E * strain, np.where(strain <= last, middle, PROOF))
    moment = stress @ (2 * y * 2 * np.sqrt((D / 2) ** 2 - y**2) * weights) * D / 4
    return lambda m: np.interp(m, moment, curvature)


def test_a_cantilever_settles_by_its_elastic_plastic_curvature() -> None:
    # Tip of a cantilever: int kappa(M) (L - x) dx (moment-area theorem), M from statics.
    elastic, yields, _ = both(wire("5 g", head=LINEAR))
    law = curvature_law(0.5)
    x = (np.arange(4000) + 0.5) / 4000 * LENGTH
    moment = G * (0.005 * (LENGTH - x) + DENSITY * math.pi / 4 * D**2 * (LENGTH - x) ** 2 / 2)
    wanted = float(np.sum(law(moment) * (LENGTH - x)) * LENGTH / 4000)
    assert yields.sag[0] == pytest.approx(wanted, rel=2e-3)
    assert yields.yielding is not None
    assert -yields.yielding[0, 1] == pytest.approx(float(yields.sag[0] - elastic.sag[0]), rel=1e-9)
    # The slope at the tip: int kappa dx, about right.
    turned = float(np.sum(law(moment)) * LENGTH / 4000)
    assert abs(yields.rotation[0, 0]) == pytest.approx(turned, rel=2e-3)
    np.testing.assert_allclose(
        yields.tip_displacement, yields.displacement, rtol=1e-12
    )  # the prop is a point


def test_springback_is_elastic_without_a_soft_onset() -> None:
    # With a sharp yield point all unloading is elastic: what stays is what yielding added (W. Prager and P. G. Hodge,
    # Theory of Perfectly Plastic Solids, from memory).
    head = OWN.format(yield_strength="34 MPa", damping=0.003) + LINEAR
    elastic, yields, stays = both(wire("7 g", material="weightless", head=head))
    assert stays == pytest.approx(float(yields.sag[0] - elastic.sag[0]), rel=1e-9)
    assert stays is not None
    assert stays > 1e-5


def test_a_soft_wire_springs_back_by_more_than_it_is_elastic() -> None:
    # Past twice its onset it yields backwards a little on the way, so less stays than yielding added.
    elastic, yields, stays = both(wire("6 g", head=LINEAR))
    assert stays is not None
    assert 0 < stays <= yields.sag[0] - elastic.sag[0] + 1e-12


@pytest.mark.parametrize("mass", ["7 g", "8.5 g"])
def test_a_long_sag_against_shooting(mass: str) -> None:
    """theta' = kappa(M), with M of the weight beyond at the arm it really has; the tip's reach is shot for."""
    _, yields, _ = both(wire(mass))
    assert yields.large[0]
    law, load = curvature_law(0.5), float(mass.split()[0]) * 1e-3 * G
    line = DENSITY * math.pi / 4 * D**2 * G

    def run(reach: float):
        # From the root: slope, x, y, and the moment, whose rate is minus the shear across the wire's level reach.
        def rate(s: float, state: np.ndarray) -> list[float]:
            slope, _, _, moment = state
            return [
                float(law(moment)),
                math.cos(slope),
                math.sin(slope),
                -(load + line * (LENGTH - s)) * math.cos(slope),
            ]

        return solve_ivp(rate, (0, LENGTH), [0, 0, 0, reach], rtol=1e-6, atol=1e-9, max_step=LENGTH / 40).y[
            :, -1
        ]

    # The unknown is the moment at the root; at the tip none is left.
    root = brentq(
        lambda value: run(value)[3], 0.3 * load * LENGTH, (load + line * LENGTH) * LENGTH, xtol=1e-10
    )
    slope, x, y, _ = run(root)
    assert y > 0.1 * LENGTH
    assert yields.sag[0] == pytest.approx(y, rel=2e-3)
    assert yields.displacement[0, 2] == pytest.approx(
        LENGTH - x if yields.displacement[0, 2] > 0 else x - LENGTH, rel=5e-3
    )
    assert abs(yields.rotation[0, 0]) == pytest.approx(slope, rel=2e-3)


def pair(mass: str, centre: str = "15 mm", second: str = "200 mm") -> str:
    one = wire(mass, prop=f'centre_of_mass = ["{centre}", "0 mm", "0 mm"]', head=LARGE)
    other = wire(mass, length=f'length = "{second}"').split("[[prop.support]]")[1]
    return one + f'[[prop.support]]{other}offset = ["30 mm", "0 mm", "0 mm"]\n'


def test_two_wires_side_by_side_yield_as_one_under_half_the_load() -> None:
    # Both bend alike, and nothing turns the prop about the view along them.
    two, one = both(pair("13 g"))[1], both(wire("6.5 g", head=LARGE))[1]
    assert two.yielding is not None
    assert one.yielding is not None
    assert two.sag[0] == pytest.approx(one.sag[0], rel=1e-4)
    assert two.yielding[0, 1] == pytest.approx(one.yielding[0, 1], rel=1e-3)
    assert two.yielding[0, 1] < -5e-4


def test_two_wires_side_by_side_keep_what_one_keeps_under_half_the_load() -> None:
    # The search for one wire counts that it yields backwards a little; the other does not: the safe side.
    two, one = both(pair("13 g"))[2], both(wire("6.5 g", head=LARGE))[2]
    assert two is not None
    assert one is not None
    assert one * 0.99 <= two <= one * 1.1


def test_what_yields_first_hands_its_load_on() -> None:
    # The shorter wire of a pair bears more; as it yields the longer one takes over some of that.
    elastic, yields, _ = both(pair("9 g", second="250 mm"))
    assert yields.yielding is not None
    assert np.isfinite(yields.yielding).all()
    before, after = (abs(outcome.root_force[0][0, 1]) for outcome in (elastic, yields))
    assert after < before * 0.995
    whole = sum(float(force[0, 1]) for force in yields.root_force)
    assert whole == pytest.approx(sum(float(force[0, 1]) for force in elastic.root_force), rel=1e-6)


def test_linear_and_exact_agree_where_it_sags_little() -> None:
    some = wire("4 g", length='length = "120 mm"')
    sags = [both(f'[analysis]\ndisplacement = "{how}"\n' + some)[1].sag[0] for how in ("linear", "large")]
    assert sags[0] == pytest.approx(sags[1], rel=1e-2)


def test_a_sleeved_wire_yields_as_one() -> None:
    elastic, yields, stays = both(wire("150 g", more=TUBE, head=LINEAR))
    assert stays is not None
    assert 0 < stays <= yields.sag[0] - elastic.sag[0] + 1e-9


def test_what_does_not_yield_is_left_as_it_is() -> None:
    work = computed(wire("1 g"))
    elastic = work.reading.task.evaluate()
    assert with_yielding(work.shot, work.prop, elastic) is elastic


def test_what_folds_gives_its_elastic_part_and_says_so() -> None:
    result = check(rig_from_text(wire("14 g"))).props[0]
    assert result.static is not None
    assert result.static.method.endswith("elastic part only")
    (sag,) = (finding for finding in result.findings if finding.id == "sag")
    assert sag.status is Status.SKIPPED
    assert sag.says.startswith("It gives way by more than the")


def test_method_and_words_say_that_it_yields() -> None:
    result = check(rig_from_text(wire("4 g", head=LINEAR))).props[0]
    assert result.static is not None
    assert result.static.method == "linear, elastic-plastic"
    (found,) = (finding for finding in result.findings if finding.id == "set")
    assert (
        "of its 6 mm of sag 0.49 mm is the wire giving way" in found.says
        or "is the wire giving way" in found.says
    )


@pytest.mark.parametrize(
    ("mass", "part"), [("3 g", "so this one does: see the lasting bend"), ("1 g", "which leaves")]
)
def test_the_strength_of_soft_wire_agrees_with_its_set(mass: str, part: str) -> None:
    result = check(rig_from_text(wire(mass))).props[0]
    strength, kept = (
        next(finding for finding in result.findings if finding.id == name) for name in ("yield-factor", "set")
    )
    assert part in strength.says
    assert (kept.status is Status.PASS) == ("which leaves" in strength.says)
