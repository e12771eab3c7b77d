"""Takes of rigs with one planted fault: is it found, how sure, and is what is said about it true?"""

import numpy as np
import pytest
from planted_takes import KINDS, RIG_FAULTS, planted, shares

from rigcheck.errors import ArgumentError, UnknownNameError
from rigcheck.files import rig_from_text
from rigcheck.files.takes import Take
from rigcheck.studies.explain.faults import root_stiffness_of
from rigcheck.studies.explain.seen import Bend
from rigcheck.studies.explain.study import HungMass, explain
from rigcheck.studies.explain.words import gap_of

SMALL = dict.fromkeys(KINDS, (3,))
"""Seeds of each kind in the ordinary run."""


def explained(kind, seed, folder):
    made = planted(kind, seed, folder)
    return made, explain(made.take, shot=made.shot, point=made.point, rates=made.rates, tap=made.tapped)


def test_planted_faults_are_found_most_of_the_time(tmp_path) -> None:
    """A few of each kind; the whole run of 200 is marked slow."""
    first, three, _ = shares([(kind, seed) for kind in KINDS for seed in SMALL[kind]], tmp_path)
    assert first >= 0.75, (first, three)  # of 12; the 80 % asked of 200 leaves so much to chance
    assert three >= 0.9, (first, three)


@pytest.mark.slow
def test_planted_faults_of_200_rigs(tmp_path) -> None:
    """Figures to reach: first in 80 %, among the first three in 95 %; and chances that mean what they say."""
    cases = [(kind, seed) for seed in range(17) for kind in KINDS if kind != "as-described"][:200]
    assert len(cases) == 187
    cases += [("as-described", seed) for seed in range(13)]
    first, three, said = shares(cases, tmp_path)
    print(f"first {first:.1%}, in the first three {three:.1%}, mean chance of the first {said:.1%}")
    assert first >= 0.80
    assert three >= 0.95
    assert abs(first - said) < 0.08  # three standard deviations of the share


def odd(positions, rate=24.0):
    times = np.arange(len(positions)) / rate
    return Take(
        times=times, positions=positions, unit="px", background=None, dropped=0, frame_rate=rate, source=""
    )


@pytest.mark.slow
def test_implied_ranges_hold_the_truth(tmp_path) -> None:
    """90 % ranges of the value that a cause would take, over 75 rigs: 80 to 98 % (three standard deviations)."""
    held = []
    for kind in ("clamp-softer", "prop-heavier", "prop-further-out"):
        for seed in range(25):
            made, result = explained(kind, seed, tmp_path)
            implied = next((cause.implied for cause in result.causes if cause.id == kind), None)
            if implied is None:
                continue
            if kind == "clamp-softer":
                truth = float(root_stiffness_of(made.truth)[0])
            else:
                truth = 1e3 * (float(made.truth.mass[0]) if kind == "prop-heavier" else made.value)
            held.append(implied.low <= truth <= implied.high)
    assert len(held) > 65
    assert 0.80 <= np.mean(held) <= 0.98, np.mean(held)


class TestWhatIsSaid:
    def test_of_a_softer_clamp(self, tmp_path) -> None:
        made, result = explained("clamp-softer", 0, tmp_path)
        cause = result.causes[0]
        assert cause.id == "clamp-softer"
        # The stiffness is EI over value times diameter; the rig's own ranges blur it.
        assert cause.implied.given / cause.implied.value == pytest.approx(made.value, rel=0.4)
        assert cause.implied.low < cause.implied.value < cause.implied.high
        assert cause.implied.unit == "N*m/rad"
        assert "tight" in cause.cure

    def test_of_a_heavier_prop(self, tmp_path) -> None:
        made, result = explained("prop-heavier", 0, tmp_path)
        cause = result.causes[0]
        assert cause.id == "prop-heavier"
        assert cause.implied.value / cause.implied.given == pytest.approx(made.value, rel=0.1)
        assert cause.implied.low <= made.truth.mass[0] * 1e3 <= cause.implied.high
        assert "scales" in cause.test

    def test_of_a_shaking_camera(self, tmp_path) -> None:
        _, result = explained("camera", 0, tmp_path)
        assert result.causes[0].id == "camera"
        assert "background moves too" in result.causes[0].says
        assert result.background

    def test_of_a_roll_out_of_true(self, tmp_path) -> None:
        _, result = explained("roll-runout", 1, tmp_path)
        cause = result.causes[0]
        assert cause.id == "roll-runout"
        assert "a turn" in cause.says
        assert "half the speed" in cause.test

    def test_of_keys_that_show(self, tmp_path) -> None:
        made, result = explained("keyframes", 0, tmp_path)
        cause = result.causes[0]
        assert cause.id == "keyframes"
        keys = made.shot.prop[0].move[0]
        assert keys is not None
        assert cause.implied.unit == "Hz"
        assert 7.9 < cause.implied.value < 15.1

    def test_of_a_rate_of_the_drive(self, tmp_path) -> None:
        made, result = explained("drive-rate", 0, tmp_path)
        cause = result.causes[0]
        assert cause.id == "drive-rate"
        assert cause.implied.value == pytest.approx(made.rates["belt"])
        assert "belt" in cause.says

    def test_of_play(self, tmp_path) -> None:
        _, result = explained("clamp-play", 8, tmp_path)
        cause = result.causes[0]
        assert cause.id == "clamp-play"
        assert "gets slower as it dies down" in cause.says
        assert cause.implied.what == "free movement at the prop"

    def test_of_a_hanging_swing(self) -> None:
        """A prop on a thin wire from above swings like a pendulum: sqrt(g/l)/(2 pi), 0.75 Hz at 0.44 m."""
        shot = rig_from_text(HANGING)
        times = np.arange(900) / 50.0
        frequency = np.sqrt(9.80665 / 0.44) / (2 * np.pi)
        wave = 12.0 * np.exp(-0.02 * times) * np.cos(2 * np.pi * frequency * times)
        noise = np.random.default_rng(2).normal(0, 0.1, (900, 2))
        result = explain(odd(wave[:, None] * [1.0, 0.05] + noise, rate=50.0), shot=shot, tap=True)
        assert result.causes[0].id == "hanging-swing"
        assert "second, slack line" in result.causes[0].cure
        assert result.components[0].what.startswith("sway")

    def test_chances_are_chances(self, tmp_path) -> None:
        _, result = explained("prop-further-out", 0, tmp_path)
        chances = [cause.chance for cause in result.causes]
        assert chances == sorted(chances, reverse=True)
        assert sum(chances) <= 1 + 1e-9
        assert all(cause.test and cause.cure and cause.says for cause in result.causes)


class TestTheGap:
    def test_is_that_of_the_exact_period(self) -> None:
        """f0/f = 1 + (2/pi) g/(A - g): a mass that crosses the gap of 2 g freely (derived here)."""
        amplitude = np.array([9.0, 7.0, 5.0, 3.0, 2.0])
        frequency = 8.0 / (1 + 2 / np.pi * 0.6 / (amplitude - 0.6))
        bend = Bend(change=-0.2, spread=0.01, amplitude=amplitude, frequency=frequency)
        gap, full = gap_of(bend)
        assert gap == pytest.approx(0.6, abs=0.02)  # the step of the search
        assert full == pytest.approx(8.0, rel=2e-3)

    def test_is_none_where_the_frequency_rises(self) -> None:
        rising = Bend(change=0.1, spread=0.01, amplitude=np.ones(4), frequency=np.ones(4))
        assert gap_of(rising) is None


RIG = """
[[prop]]
name = "inkwell"
mass = "310 g"
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 mm"
clamp = "collet"
"""


HANGING = """
[[prop]]
name = "inkwell"
mass = "150 g"
shape = "sphere"
size = ["40 mm", "40 mm", "40 mm"]
centre_of_mass = ["0 mm", "-20 mm", "0 mm"]
[[prop.support]]
material = "music-wire"
diameter = "0.3 mm"
length = "420 mm"
from = "above"
"""


class TestBench:
    """A mass hung on a cantilever, longer by the clamp's share: m g L^3/(3 E I)."""

    def test_a_sag_as_computed_is_the_rig_as_described(self) -> None:
        shot = rig_from_text(RIG)
        length, inertia = 0.18 + 0.003, np.pi * 0.003**4 / 64
        sag = 0.2 * 9.80665 * length**3 / (3 * 205e9 * inertia)
        result = explain(None, shot=shot, hung=HungMass(mass=0.2, sag=sag))
        assert result.causes[0].id == "as-described"
        assert result.components == ()
        assert result.part_s is None

    def test_twice_the_sag_is_a_clamp_that_gives(self) -> None:
        shot = rig_from_text(RIG)
        sag = 2 * 0.2 * 9.80665 * 0.183**3 / (3 * 205e9 * np.pi * 0.003**4 / 64)
        result = explain(None, shot=shot, hung=HungMass(mass=0.2, sag=sag))
        assert result.causes[0].id in ("clamp-softer", "support-thinner")
        assert "as-described" not in [cause.id for cause in result.causes]
        if result.causes[0].id == "clamp-softer":
            assert any(change.key == "root_stiffness" for change in result.fitted.changes)


class TestBadArguments:
    def take(self):
        return odd(np.random.default_rng(1).normal(0, 0.1, (100, 2)), rate=50.0)

    @pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
    def test_bench_and_rates(self, value) -> None:
        with pytest.raises(ArgumentError, match="above 0"):
            HungMass(mass=value, sag=1e-3)
        with pytest.raises(ArgumentError, match="above 0"):
            HungMass(mass=0.2, sag=value)
        with pytest.raises(ArgumentError, match="rate belt"):
            explain(self.take(), shot=rig_from_text(RIG), rates={"belt": value})

    def test_nothing_given_or_no_rig_for_it(self) -> None:
        with pytest.raises(ArgumentError, match="nothing to explain"):
            explain(None)
        with pytest.raises(ArgumentError, match="give the rig file too"):
            explain(None, hung=HungMass(mass=0.2, sag=1e-3))
        with pytest.raises(UnknownNameError, match="inkpot"):
            explain(self.take(), shot=rig_from_text(RIG), prop="inkpot")

    def test_noise_with_a_rig_has_no_causes(self) -> None:
        result = explain(self.take(), shot=rig_from_text(RIG))
        assert result.causes == ()
        assert result.components == ()
        assert result.next_step == "Nothing to cure: no wobble shows in this take."


class TestOddTakes:
    """What random takes stumbled over once."""

    @pytest.mark.parametrize("frames", [4, 12, 300])
    def test_a_point_that_never_moves(self, frames) -> None:
        result = explain(odd(np.zeros((frames, 2))), shot=rig_from_text(RIG), rates={"belt": 7.0})
        assert result.components == ()

    def test_a_walk_and_steps(self) -> None:
        rng = np.random.default_rng(1)
        for frames in (30, 100):
            explain(odd(np.cumsum(rng.normal(size=(frames, 2)), axis=0)), shot=rig_from_text(RIG))
            explain(odd(np.round(rng.normal(size=(frames, 2)))), shot=rig_from_text(RIG))

    def test_a_rig_that_does_not_hold_the_hung_mass(self) -> None:
        thin = RIG.replace("3 mm", "0.8 mm").replace("310 g", "60 g")
        result = explain(None, shot=rig_from_text(thin), hung=HungMass(mass=50.0, sag=0.01))
        assert result.causes == ()
        assert any("that test says nothing here" in note for note in result.notes)


def test_kinds_cover_every_cause_that_can_be_named() -> None:
    assert set(RIG_FAULTS) < set(KINDS)
