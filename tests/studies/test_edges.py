"""The edges of what can be computed: results go on smoothly where the physics does, and are refused where it ends.

Each sweep goes through `check` of a rig text. Every warning is an error here (pytest's settings), so no numpy or
scipy warning leaks from any of them.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from rigcheck.errors import InputError
from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.results import PropResult, Status

G = 9.80665
E, DENSITY = 70e9, 2700.0  # of the shop rod below
DIAMETER, LENGTH = 3e-3, 0.18
AREA, INERTIA = math.pi * DIAMETER**2 / 4, math.pi * DIAMETER**4 / 64
EI, OWN_MASS = E * INERTIA, DENSITY * AREA * LENGTH

SLENDER = "[analysis]\nshear = false\n"
SMALL = SLENDER + 'displacement = "linear"\ngravity_stiffness = false\n'
ROD = 'diameter = "3 mm"\nlength = "180 mm"\nroot_stiffness = "rigid"'
SLIDE = 'slide = "20 mm"\nduration = "4 s"'


def rig_of(
    *,
    mass: float = 0.05,
    support: str = ROD,
    material: str = "shop-rod",
    move: str | None = None,
    top: str = "",
    density: float = DENSITY,
) -> PropResult:
    """What `check` says of one prop; the mass in kg."""
    text = f"""{top}
        [[material]]
        name = "shop-rod"
        density = "{density:.9f} kg/m^3"
        youngs_modulus = "70 GPa"
        shear_modulus = "26 GPa"
        yield_strength = "350 MPa"
        tensile_strength = "400 MPa"
        damping_ratio = 0.003
        [[prop]]
        name = "inkwell"
        mass = "{mass * 1e3:.15f} g"
        [[prop.support]]
        material = "{material}"
        {support}
        """
    text += f"\n[[prop.move]]\n{move}\n" if move else ""
    (result,) = check(rig_from_text(text)).props
    return result


def sag(result: PropResult) -> float:
    assert result.static is not None
    return float(result.static.sag.m_as("m"))


def frequencies(result: PropResult) -> list[float]:
    return [float(mode.frequency.m_as("Hz")) for mode in result.modes]


def wobble(result: PropResult) -> float:
    assert result.motion is not None
    return float(result.motion.residual_wobble.m_as("m"))


def peak(result: PropResult) -> float:
    assert result.motion is not None
    return float(result.motion.peak_deviation.m_as("m"))


def statuses(result: PropResult) -> dict[str, Status]:
    return {finding.id: finding.status for finding in result.findings}


# -- nearly buckling ---------------------------------------------------------------------------------------

STANDING = 'diameter = "3 mm"\nlength = "400 mm"\nfrom = "below"\nroot_stiffness = "rigid"'


def test_a_standing_rod_softens_to_nothing_at_its_buckling_load_and_is_refused_beyond_it() -> None:
    # S. Timoshenko, J. Gere, Theory of Elastic Stability (figures from memory): a free-standing column bears
    # pi^2 E I / (4 L^2) on its tip, or 7.837 E I / L^2 of its own weight. That both shares add up to less than 1
    # is a lower bound, exact to about the square of the small one.
    length = 0.4
    own = DENSITY * AREA * length * G
    bound = math.pi**2 * EI / (4 * length**2) * (1 - own * length**2 / (7.837 * EI)) / G

    def factor(mass: float) -> float:
        result = rig_of(mass=mass, support=STANDING, top=SLENDER)
        assert result.static is not None
        assert result.static.buckling_factor is not None
        return result.static.buckling_factor

    # The factor multiplies all weight, so the mass that buckles is where it comes to 1.
    near = bound * 0.97
    slope = (1 / factor(near) - 1 / factor(near * 0.99)) / (near * 0.01)
    critical = near + (1 - 1 / factor(near)) / slope
    assert critical == pytest.approx(bound, rel=0.01)
    assert critical >= bound * (1 - 1e-6)

    shares = [0.1, 0.01, 0.001]
    below = [rig_of(mass=critical * (1 - share), support=STANDING, top=SLENDER) for share in shares]
    squares = [frequencies(result)[0] ** 2 for result in below]
    # The square of the lowest frequency goes to zero with what is left of the load.
    assert squares[0] / squares[1] == pytest.approx(10, rel=0.15)  # the mass itself differs by 9 %
    assert squares[1] / squares[2] == pytest.approx(10, rel=0.02)
    assert all(result.verdict is Status.FAIL for result in below)

    for share in (0.001, 0.1):
        beyond = rig_of(mass=critical * (1 + share), support=STANDING, top=SLENDER, move=SLIDE)
        assert statuses(beyond)["buckling"] is Status.FAIL
        assert beyond.static is None
        assert beyond.motion is None
        assert beyond.modes == ()


# -- nearly rigid root -------------------------------------------------------------------------------------


def test_a_root_that_stiffens_by_decades_comes_to_the_rigid_one() -> None:
    rigid = rig_of(top=SMALL, move=SLIDE)
    moment = (0.05 + OWN_MASS / 2) * G * LENGTH
    tones = []
    for decade in range(0, 13, 2):
        stiffness = 10.0**decade
        support = f'diameter = "3 mm"\nlength = "180 mm"\nroot_stiffness = "{stiffness:.1f} N*m/rad"'
        result = rig_of(support=support, top=SMALL, move=SLIDE)
        # A root spring turns by M / k and carries the tip along, whatever the rod does.
        assert sag(result) - sag(rigid) == pytest.approx(moment / stiffness * LENGTH, rel=1e-6, abs=1e-12)
        tones.append(frequencies(result)[0])
    assert tones == sorted(tones)
    assert tones[-1] == pytest.approx(frequencies(rigid)[0], rel=1e-9)
    assert wobble(result) == pytest.approx(wobble(rigid), rel=1e-6)


# -- mass ratio --------------------------------------------------------------------------------------------


def test_a_prop_from_a_millionth_to_a_million_times_the_mass_of_its_rod() -> None:
    stiffness = 3 * EI / LENGTH**3
    # The bare cantilever: first root of cos(x) cosh(x) = -1.
    root = brentq(lambda x: math.cos(x) * math.cosh(x) + 1, 1.5, 2.5, xtol=1e-14)
    bare = root**2 * math.sqrt(EI / (OWN_MASS * LENGTH**3))
    tones = []
    for decade in range(-6, 7):
        mass = OWN_MASS * 10.0**decade
        result = rig_of(mass=mass, top=SMALL)
        assert sag(result) == pytest.approx((mass / 3 + OWN_MASS / 8) * G * LENGTH**3 / EI, rel=1e-6)
        omega = 2 * math.pi * frequencies(result)[0]
        # Dunkerley bounds it below, Rayleigh (with the shape of a tip load) above.
        assert omega >= (1 / bare**2 + mass / stiffness) ** -0.5 * (1 - 1e-6)
        assert omega <= math.sqrt(stiffness / (mass + 33 / 140 * OWN_MASS)) * (1 + 1e-6)
        tones.append(omega)
    assert tones[0] == pytest.approx(bare, rel=1e-5)
    assert tones[-1] == pytest.approx(math.sqrt(stiffness / mass), rel=1e-6)
    assert tones == sorted(tones, reverse=True)


# -- equal modes -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", ["3 mm", "3.000000003 mm", "3.0003 mm"])
def test_a_square_rod_sways_alike_both_ways_and_answers_in_proportion_to_a_tiny_turn(width: str) -> None:
    support = f'section = "strip"\nwidth = "{width}"\nthickness = "3 mm"\nlength = "180 mm"\nroot_stiffness = "rigid"'
    angles = [1e-6, 1e-4, 1e-2]
    results = [
        rig_of(
            support=support, top=SMALL, move=f'roll = "{angle:.6f} deg"\nabout = "toward"\nduration = "1 s"'
        )
        for angle in angles
    ]
    one, other = frequencies(results[0])[:2]
    # f goes with the side: the two differ by the share that the width does.
    assert max(one, other) / min(one, other) - 1 == pytest.approx(
        float(width[:-3]) / 3 - 1, rel=1e-2, abs=1e-10
    )
    for result, angle in zip(results, angles, strict=True):
        assert wobble(result) / angle == pytest.approx(wobble(results[-1]) / angles[-1], rel=1e-3)
        assert peak(result) / angle == pytest.approx(peak(results[-1]) / angles[-1], rel=1e-3)


def test_nearly_equal_sways_wobble_as_equal_ones_do() -> None:
    def turned(width: str) -> float:
        support = f'section = "strip"\nwidth = "{width}"\nthickness = "3 mm"\nlength = "180 mm"'
        return wobble(rig_of(support=support, move='roll = "30 deg"\nduration = "1 s"'))

    equal = turned("3 mm")
    for share in (1e-9, 1e-7, 1e-5):
        # Two modes drift apart by share * omega * (two periods): far less than 100 times the share.
        assert turned(f"{3 * (1 + share):.12f} mm") == pytest.approx(equal, rel=100 * share + 1e-6)


# -- two supports moving apart -----------------------------------------------------------------------------


def test_two_rods_in_one_place_are_one_of_twice_the_stiffness_and_part_smoothly() -> None:
    def pair(spacing: float) -> PropResult:
        second = f'{ROD}\noffset = ["{spacing:.9f} mm", "0 mm", "0 mm"]'
        return rig_of(support=f'{ROD}\n[[prop.support]]\nmaterial = "shop-rod"\n{second}', top=SMALL)

    together = pair(0.0)
    assert sag(together) == pytest.approx((0.05 / 6 + OWN_MASS / 8) * G * LENGTH**3 / EI, rel=1e-6)
    lowest = [frequencies(together)[0]]
    for spacing in (1e-6, 1e-4, 1e-2):
        apart = pair(spacing)
        # They bend down together wherever they stand side by side; what their spacing adds goes with its square.
        assert sag(apart) == pytest.approx(sag(together), rel=2 * (spacing * 1e-3 / LENGTH) ** 2 + 1e-9)
        lowest.append(frequencies(apart)[0])
    assert lowest == pytest.approx([lowest[0]] * len(lowest), rel=1e-4)


# -- moves -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("move", "says"),
    [
        ('slide = "0 mm"\nduration = "1 s"', "nothing moves"),
        ('slide = "0.000000001 mm"\nduration = "1 s"', "outside what rigcheck computes"),
        ('slide = "20 mm"\nduration = "0 s"', "more than zero"),
        ('slide = "20 mm"\nduration = "0.0000001 s"', "outside what rigcheck computes"),
        ('slide = "20 mm"\nduration = "1 s"\nramp = 0', "above 0"),
    ],
)
def test_a_move_of_nothing_is_refused_in_words(move: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        rig_of(move=move)


def test_a_slide_that_shrinks_to_nothing_wobbles_in_proportion() -> None:
    strokes = [1e-6, 1e-3, 1.0, 20.0]
    for measure in (wobble, peak):
        shares = [
            measure(rig_of(move=f'slide = "{stroke:.6f} mm"\nalong = "up"\nduration = "0.4 s"')) / stroke
            for stroke in strokes
        ]
        assert shares == pytest.approx([shares[-1]] * len(shares), rel=1e-6)


@pytest.mark.parametrize("profile", ["trapezoidal", "s-curve"])
def test_a_ramp_of_next_to_nothing_is_asked_about(profile: str) -> None:
    def ramped(ramp: float) -> PropResult:
        return rig_of(move=f'slide = "20 mm"\nduration = "1 s"\nprofile = "{profile}"\nramp = {ramp:.9f}')

    # Its acceleration grows without limit as the ramp goes to nothing; no verdict of it is a plain pass.
    assert statuses(ramped(1e-9))["doubtful-value"] is Status.CAUTION
    assert ramped(1e-9).verdict is Status.FAIL
    assert "doubtful-value" not in statuses(ramped(0.01))


def test_a_slide_from_a_single_frame_to_a_day() -> None:
    durations = [0.001, 0.02, 2.0, 60.0, 3600.0, 86400.0]
    results = [
        rig_of(
            top='[camera]\nfield_width = "420 mm"\nimage_width = 3840\nframe_rate = "50 fps"\n' + SMALL,
            move=f'slide = "20 mm"\nalong = "up"\nprofile = "cycloidal"\nduration = "{duration} s"',
        )
        for duration in durations
    ]
    # In next to no time the prop stays behind by the whole slide, and then swings about its end as far to the other
    # side, damped by exp(-2 pi 0.003 / 2). Only the rod's other modes add to it: less than its share of the mass.
    swing = 0.02 * (1 + math.exp(-math.pi * 0.003))
    assert wobble(results[0]) == pytest.approx(swing, rel=OWN_MASS / 0.05)
    assert peak(results[0]) == pytest.approx(0.02, rel=OWN_MASS / 0.05)
    peaks = [peak(result) for result in results]
    assert peaks == sorted(peaks, reverse=True)
    # Slowly, it lags by the peak acceleration, 2 pi stroke / T^2 for a cycloid, over the square of its frequency.
    for result, duration in zip(results[3:], durations[3:], strict=True):
        omega = 2 * math.pi * frequencies(result)[0]
        assert peak(result) == pytest.approx(2 * math.pi * 0.02 / (duration * omega) ** 2, rel=0.02)
        # Its acceleration ends in a kink, 4 pi^2 stroke / T^3, which rings at that over omega^3 to either side.
        assert wobble(result) <= peak(result) * 2 * 2 * math.pi / (duration * omega) * 1.02 + 1e-15
    assert statuses(results[-1])["doubtful-value"] is Status.CAUTION
    assert "doubtful-value" not in statuses(results[2])


# -- from small to large displacement ----------------------------------------------------------------------


def _elastica(load: float) -> float:
    """Droop over length of a weightless cantilever, load = P L^2 / (E I): theta'' = -load cos(theta), by scipy."""

    def shoot(start: float) -> tuple[float, float]:
        found = solve_ivp(
            lambda _, state: [state[1], -load * math.cos(state[0]), math.sin(state[0])],
            (0.0, 1.0),
            [0.0, start, 0.0],
            rtol=1e-11,
            atol=1e-13,
        )
        return float(found.y[1, -1]), float(found.y[2, -1])

    return shoot(brentq(lambda start: shoot(start)[0], 0.1 * load, 1.1 * load, xtol=1e-13))[1]


def test_where_linear_gives_way_to_large_displacement_the_step_is_that_of_the_elastica() -> None:
    limit = 0.1 * 3 * EI / LENGTH**2 / G
    found = {}
    for share in (0.999, 1.001):
        # A rod next to weightless, so that the droop is that of a tip load.
        found[share] = rig_of(mass=limit * share, density=1.0, top=SLENDER)
    below, above = found[0.999], found[1.001]
    assert below.static is not None
    assert above.static is not None
    assert (below.static.method, above.static.method) == ("linear", "large displacement")
    assert sag(below) / LENGTH == pytest.approx(0.0999, rel=2e-4)
    assert sag(above) / LENGTH == pytest.approx(_elastica(0.3003), rel=1e-3)
    step = sag(above) / sag(below) - 1
    assert step == pytest.approx(_elastica(0.3003) / 0.0999 - 1, abs=1e-3)
    assert abs(step) < 0.02
    for one, other in pairwise([below, above]):
        assert frequencies(other)[0] == pytest.approx(frequencies(one)[0], rel=0.02)
        assert frequencies(other)[1] == pytest.approx(frequencies(one)[1], rel=0.02)


# -- sections and materials --------------------------------------------------------------------------------


@pytest.mark.parametrize("diameter", [0.813, 1.6, 2.5, 3.18])
def test_a_wire_just_below_and_above_an_entry_of_its_table_is_the_same_wire(diameter: float) -> None:
    results = [
        rig_of(
            mass=0.001,
            material="music-wire",
            support=f'diameter = "{diameter * (1 + share):.9f} mm"\nlength = "80 mm"',
            top=SMALL,
        )
        for share in (-1e-7, 0.0, 1e-7)
    ]
    factors = [result.static.yield_factor for result in results if result.static is not None]
    # Stress goes with 1/d^3 and strength hardly moves: 3e-7 a step.
    assert factors == pytest.approx([factors[1]] * 3, rel=2e-6)
    # The published modulus is given by ranges of diameter, 203.4 to 193 GPa: from 196.5 to 193 is the largest step.
    sags = [sag(result) for result in results]
    assert sags == pytest.approx([sags[1]] * 3, rel=196.5 / 193 - 1 + 1e-5)


def test_a_strand_goes_from_slipping_wires_to_one_piece() -> None:
    bonds = [0.0, 1e-9, 0.5, 1.0 - 1e-9, 1.0]
    sags = np.array(
        [
            sag(
                rig_of(
                    mass=0.005,
                    support='section = "strand"\ndiameter = "1 mm"\nwires = 7\nlength = "120 mm"\n'
                    f'root_stiffness = "rigid"\nbond = {bond}',
                    top=SMALL,
                )
            )
            for bond in bonds
        ]
    )
    # Seven wires of second moment I: 7 I slipping; bonded, six of them stand a diameter off, I each + A d^2 / 2 on
    # average = I + 8 I: 55 I in all.
    assert sags[0] / sags[-1] == pytest.approx(55 / 7, rel=1e-6)
    assert sags[1] == pytest.approx(sags[0], rel=1e-7)
    assert sags[-2] == pytest.approx(sags[-1], rel=1e-7)
    assert np.all(np.diff(sags) < 0)


def test_a_thick_line_that_is_pressed_is_not_called_taut() -> None:
    one = 'diameter = "1 mm"\nlength = "300 mm"\ntension = "0.001 N"'
    result = rig_of(
        material="music-wire",
        support=f'{one}\nfrom = "above"\n[[prop.support]]\nmaterial = "music-wire"\n{one}\nfrom = "below"',
    )
    finding = next(finding for finding in result.findings if finding.id == "line-slack")
    assert finding.status is Status.PASS
    # Half the prop's weight, and a little of the wire's own, less next to no tension.
    assert finding.value == pytest.approx(0.05 * G / 2, rel=0.1)
    assert "is pressed with up to 0.2" in finding.says
    assert "taut" not in finding.says


def test_a_tube_whose_bore_closes_becomes_a_rod() -> None:
    def tube(wall: float) -> PropResult:
        sizes = f'section = "tube"\ndiameter = "3 mm"\nwall = "{wall} mm"\nlength = "180 mm"'
        return rig_of(support=f'{sizes}\nroot_stiffness = "rigid"', top=SMALL)

    rod = rig_of(top=SMALL)
    for wall in (1.4, 1.49, 1.499999, 1.5):
        result = tube(wall)
        hollow = (1 - wall / 1.5) ** 4
        assert sag(result) == pytest.approx(
            sag(rod) / (1 - hollow), rel=1e-3
        )  # and less by the weight of the bore
        low, high = result.ranges["sag_mm"]
        assert 0 < low < sag(result) * 1e3 < high
    with pytest.raises(InputError):
        tube(1.51)


@pytest.mark.parametrize(("inertia", "asked"), [(1e-9, False), (1e-3, False), (1.0, True), (1000.0, True)])
def test_an_inertia_that_no_prop_has_is_asked_about(inertia: float, asked: bool) -> None:
    text = f"""
        [[prop]]
        name = "inkwell"
        mass = "310 g"
        inertia = ["{inertia:.9f} kg*m^2", "{inertia:.9f} kg*m^2", "{inertia:.9f} kg*m^2"]
        [[prop.support]]
        material = "music-wire"
        diameter = "4 mm"
        length = "120 mm"
        """
    (result,) = check(rig_from_text(text)).props
    assert ("doubtful-value" in statuses(result)) is asked
    assert (result.verdict is Status.PASS) is not asked


def test_a_pretension_that_goes_to_nothing_leaves_a_slack_line() -> None:
    def lines(tension: float) -> PropResult:
        one = f'diameter = "1 mm"\nlength = "300 mm"\ntension = "{tension:.12f} N"'
        return rig_of(
            mass=0.31,
            material="music-wire",
            support=f'{one}\nfrom = "above"\n[[prop.support]]\nmaterial = "music-wire"\n{one}\nfrom = "below"',
        )

    results = [lines(tension) for tension in (1e-9, 1e-6, 1e-3)]
    assert [statuses(result)["line-slack"] for result in results] == [Status.CAUTION] * 3
    sags = [sag(result) for result in results]
    assert sags == pytest.approx([sags[0]] * 3, rel=1e-3)
    assert statuses(lines(20.0)).get("line-slack") in (None, Status.PASS)
    with pytest.raises(InputError, match="more than zero"):
        lines(0.0)


# -- places that nearly coincide ---------------------------------------------------------------------------


def _sleeved(start: float, end: float, *, mass: float = 0.05) -> PropResult:
    sleeve = f'diameter = "4 mm"\nwall = "0.45 mm"\nstart = "{start:.9f} mm"\nend = "{end:.9f} mm"'
    return rig_of(mass=mass, support=f'{ROD}\n[[prop.support.sleeve]]\nmaterial = "brass-c260"\n{sleeve}')


@pytest.mark.parametrize("mass", [0.05, 0.9])
def test_a_sleeve_that_ends_just_before_the_tip_is_one_that_ends_at_it(mass: float) -> None:
    whole = _sleeved(0, 180, mass=mass)
    for end in (179.7, 179.9, 179.999, 179.999999):
        result = _sleeved(0, end, mass=mass)
        # Next to no moment is left there to bend it; the weight of 0.3 mm of sleeve is 2.5e-4 of the lighter prop's.
        assert sag(result) == pytest.approx(sag(whole), rel=3e-4)
        assert frequencies(result)[:3] == pytest.approx(frequencies(whole)[:3], rel=1e-3)
        assert result.ranges.keys() == whole.ranges.keys()
        for name, (low, high) in result.ranges.items():
            assert np.isfinite([low, high]).all(), name


def test_a_sleeve_that_shrinks_to_nothing_leaves_the_bare_rod() -> None:
    bare = rig_of()
    for start in (0.0, 90.0):
        for long in (1e-6, 1e-3, 1e-2):
            result = _sleeved(start, start + long)
            # Bonded over a length s the root gives less by s / L of three parts, at most.
            assert sag(result) == pytest.approx(sag(bare), rel=1e-3)
            assert frequencies(result)[:2] == pytest.approx(frequencies(bare)[:2], rel=1e-3)


def test_points_of_a_path_nearly_in_one_place_are_refused_and_those_just_apart_are_computed() -> None:
    def bent(gap: float) -> PropResult:
        path = (
            f'path = [["0 mm", "0 mm", "-180 mm"], ["0 mm", "0 mm", "-{gap} mm"], ["0 mm", "0 mm", "0 mm"]]'
        )
        return rig_of(support=f'diameter = "3 mm"\nroot_stiffness = "rigid"\n{path}', top=top)

    for displacement in ("linear", "large"):
        top = f'[analysis]\ndisplacement = "{displacement}"\n'
        straight, stepped = rig_of(top=top), bent(0.2)
        assert sag(stepped) == pytest.approx(sag(straight), rel=1e-6)
        assert frequencies(stepped)[:3] == pytest.approx(frequencies(straight)[:3], rel=1e-6)
    with pytest.raises(InputError, match=r"points 2 and 3 only 0\.17 mm apart.*Leave one of them out"):
        bent(0.17)
