"""Play, grip, slip and the head: against sums by hand."""

from __future__ import annotations

import math

import pytest
from check_parts import assert_skipped, computed, figure, finding, names, rig_file

from rigcheck.studies.holding import AXIS_CAUTION_SHARE, COUNTERWEIGHT_ARM, holding
from rigcheck.studies.results import Contribution, Status
from rigcheck.studies.words import mass_words

G = 9.80665


def run(text: str) -> Contribution:
    return holding(computed(text))


def rig(
    clamp: str = 'clamp = "collet"',
    *,
    mass: str = "100 g",
    diameter: str = "3 mm",
    length: str = 'length = "200 mm"',
    prop: str = "",
    head: str = "",
    more: str = "",
) -> str:
    wire = ('material = "music-wire"', f'diameter = "{diameter}"', length, clamp, more)
    return rig_file(*wire, name="inkwell", mass=mass, prop=prop, head=head)


# -- play and grip --------------------------------------------------------------------------------------

LOOSE = 'clamp = "one-set-screw"\ngrip = "{}"'


def test_play_by_the_rule() -> None:
    """Project's data file, section 5: 0.1 mm over 6 mm of grip is 5 mm at 300 mm (derived there)."""
    result = run(rig(LOOSE.format("6 mm"), diameter="1 mm", mass="1 g", length='length = "300 mm"'))
    found = finding(result, "play")
    assert found.value == pytest.approx(5.0)
    assert found.status is Status.CAUTION
    # Without a camera a pixel counts as 0.1 mm, and wobble from one end to the other.
    assert found.limit == pytest.approx(0.05)
    assert found.says == (
        "Where the screw is not tight, the prop can shift by up to 5 mm either way; its weight presses the wire"
        " to one side, so it shows when the load changes side."
    )
    assert found.advice == (
        "Take a collet, or two set screws.",
        "Sleeve the wire until the hole is at most 0.001 mm wider.",
    )
    assert (
        "The hole of the one-set-screw is 0.1 mm wider than the wire (0 to 0.2 mm, common-practice): measure it."
        in (result.assumptions)
    )


def test_play_in_pixels() -> None:
    head = '[camera]\nfield_width = "400 mm"\nimage_width = 4000\n[limits]\nwobble = {}'
    # 0.1 mm over 20 mm at 200 mm: 1 mm, 10 px either way, 20 px from end to end.
    for wobble, status in ((20.1, Status.PASS), (19.9, Status.CAUTION)):
        found = finding(run(rig(LOOSE.format("20 mm"), head=head.format(wobble))), "play")
        assert found.status is status
        assert found.value == pytest.approx(1.0)
        assert found.limit == pytest.approx(wobble / 2 / 10)
        assert "the prop can shift by up to 1 mm (10 px) either way" in found.says
    loose = finding(run(rig(LOOSE.format("20 mm"), head=head.format(30))), "play")
    assert loose.says == "Should the screw come loose, the prop can shift by up to 1 mm (10 px) either way."


def test_play_reaches_the_centre_of_mass() -> None:
    found = finding(
        run(rig(LOOSE.format("20 mm"), prop='centre_of_mass = ["0 mm", "0 mm", "40 mm"]')), "play"
    )
    assert found.value == pytest.approx(0.1 / 20 * 240)


def test_play_without_grip_is_skipped() -> None:
    assert_skipped(run(rig('clamp = "one-set-screw"')), "No grip is given.", "play")


def test_tight_clamps_have_no_play() -> None:
    assert "play" not in names(run(rig('clamp = "collet"\ngrip = "20 mm"')))


def test_short_grip() -> None:
    found = finding(run(rig('clamp = "collet"\ngrip = "14.9 mm"')), "grip")
    assert (found.status, found.at_least) == (Status.CAUTION, True)
    assert (found.value, found.limit) == (pytest.approx(14.9), pytest.approx(15.0))
    assert found.says == "The collet holds only 5 diameters; 5 are wanted."
    assert found.advice == ("Hold 15 mm or more in the clamp.",)
    assert "grip" not in names(run(rig('clamp = "collet"\ngrip = "15.1 mm"')))
    assert "grip" not in names(run(rig()))


# -- slip -----------------------------------------------------------------------------------------------


def slip_rig(torque: float, clamp: str = "collet") -> str:
    """A level 3 mm wire with the prop 100 mm to the side, so heavy that its weight twists it by that much."""
    mass = torque / (G * 0.1)
    return rig(
        f'clamp = "{clamp}"',
        mass=f"{mass} kg",
        prop='centre_of_mass = ["100 mm", "0 mm", "0 mm"]',
        head='[analysis]\ndisplacement = "linear"\ngravity_stiffness = false',
    )


# 0.5 N*m / (0.2 * 3 mm) * 0.12 * 2 contacts: the sum of the common-practice figures by hand.
CAPACITY = 0.5 / (0.2 * 3e-3) * 0.12 * 2


@pytest.mark.parametrize(
    ("share", "status"),
    [(0.49, Status.PASS), (0.51, Status.CAUTION), (0.99, Status.CAUTION), (1.01, Status.FAIL)],
)
def test_slip_by_hand(share: float, status: Status) -> None:
    assert pytest.approx(200.0) == CAPACITY
    result = run(slip_rig(share * CAPACITY * 1.5e-3))
    found = finding(result, "roll-slip")
    assert found.status is status
    assert found.limit == pytest.approx(CAPACITY)
    assert found.unit == "N"
    # The wire's own weight does not twist it.
    assert found.value == pytest.approx(share * CAPACITY, rel=1e-6)


def test_slip_words() -> None:
    passed = run(slip_rig(0.1))
    assert (
        finding(passed, "roll-slip").says
        == "The clamp's friction holds the wire against turning and sliding."
    )
    assert finding(passed, "roll-slip").advice == ()
    assert (
        "A collet holds a wire by friction as a hand-tight M3 screw would: 0.5 N*m, nut factor 0.2, friction 0.12,"
        " 2 contacts each (common practice)."
    ) in passed.assumptions
    caution = finding(run(slip_rig(0.2)), "roll-slip")
    assert caution.says == "The clamp's friction is more than half used up: the wire may turn in it."
    fail = finding(run(slip_rig(0.35)), "roll-slip")
    assert fail.says == "The wire will turn in the clamp: it needs more friction than there is."
    assert fail.advice == (
        "File a flat on the wire for the screw.",
        "Bend the last 10 mm of the wire by 90 degrees behind the clamp.",
        "Use two screws: 233 of 400 N.",
    )


def test_two_screws_hold_twice_as_much() -> None:
    found = finding(run(slip_rig(0.35, "two-set-screws")), "roll-slip")
    assert found.limit == pytest.approx(2 * CAPACITY)
    assert found.status is Status.CAUTION
    assert len(found.advice) == 2


def test_hanging_wire_may_slide() -> None:
    found = finding(run(rig(mass="15 kg", length='length = "200 mm"\nfrom = "above"')), "roll-slip")
    assert found.says == "The clamp's friction is more than half used up: the wire may slide in it."
    own = 7850 * math.pi / 4 * 0.003**2 * 0.2
    assert found.value == pytest.approx((15 + own) * G, rel=1e-3)


def test_slip_counts_the_swing() -> None:
    move = '[[prop.move]]\nslide = "200 mm"\nduration = "0.5 s"\nalong = "up"'
    side = 'centre_of_mass = ["50 mm", "0 mm", "0 mm"]'
    still = finding(run(rig(prop=side)), "roll-slip").value
    moving = finding(run(rig(prop=side, more=move)), "roll-slip").value
    assert still is not None
    assert moving is not None
    assert moving > 1.2 * still


def test_slip_is_skipped_or_left_out() -> None:
    wood = run(rig('clamp = "wood-block"'))
    assert_skipped(wood, "How tightly a wood-block holds a wire against turning is not known.", "roll-slip")
    assert "roll-slip" not in names(run(rig('clamp = "rigid"')))
    assert "roll-slip" not in names(run(rig("")))
    tube = rig(more='wall = "0.5 mm"').replace("music-wire", "brass-c260")
    assert "roll-slip" not in names(run(tube))


@pytest.mark.parametrize(
    ("clamp", "says"),
    [
        (
            "screw-and-washer",
            "In the screw-and-washer the support can turn about its screw, and then nothing here holds.",
        ),
        ("foam-block", "In the foam-block the support can turn about itself, and then nothing here holds."),
    ],
)
def test_clamps_that_let_it_turn(clamp: str, says: str) -> None:
    found = finding(run(rig(f'clamp = "{clamp}"')), "clamp-turns")
    assert (found.status, found.says) == (Status.CAUTION, says)
    assert found.advice == (
        "Take a collet or two set screws, or bend the tail of the wire so that it cannot turn.",
    )


def test_second_support_has_findings_of_its_own() -> None:
    more = """
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "200 mm"
offset = ["30 mm", "0 mm", "0 mm"]
clamp = "one-set-screw"
grip = "6 mm"
"""
    result = run(rig(more=more))
    assert {"roll-slip", "roll-slip-2", "play-2", "grip-2"} <= set(names(result))
    assert finding(result, "play-2").label == "play in the clamp of support 2"


# -- the head -------------------------------------------------------------------------------------------

AXIS = '[prop.axis]\npayload = "{payload}"\nmoment = "{moment}"\ntorque = "{torque}"\n'
WIRE = 7850 * math.pi / 4 * 0.003**2 * 0.2
LINEAR = '[analysis]\ndisplacement = "linear"\ngravity_stiffness = false'


def on_head(payload: str = "3 kg", moment: str = "2 N*m", torque: str = "1 N*m", **more: str) -> str:
    axis = AXIS.format(payload=payload, moment=moment, torque=torque)
    more["more"] = axis + more.get("more", "")
    return rig(head=LINEAR, **more)


def test_head_by_hand() -> None:
    """Sums by hand: mass, ``g (m L + m_w L / 2)`` across the shaft and ``g m e`` about it."""
    side = 'centre_of_mass = ["40 mm", "0 mm", "0 mm"]'
    result = run(on_head(prop=side))
    assert finding(result, "axis-payload").value == pytest.approx(0.1 + WIRE, rel=1e-9)
    assert finding(result, "axis-moment").value == pytest.approx(G * 0.2 * (0.1 + WIRE / 2), rel=1e-6)
    assert finding(result, "axis-torque").value == pytest.approx(G * 0.1 * 0.04, rel=1e-6)
    assert figure(result, "counterweight that balances it") == "80 g at 50 mm on the other side of the shaft"
    note = next(item.note for item in result.figures if item.label.startswith("counterweight"))
    assert note == f"{mass_words(0.1 + WIRE)} is 36 mm off the shaft"
    assert "The head's shaft is taken to point along the first support at its root." in result.assumptions
    assert "The mass of the clamp itself is not on the head's account." in result.assumptions


@pytest.mark.parametrize(
    ("share", "status"),
    [(0.69, Status.PASS), (0.71, Status.CAUTION), (0.99, Status.CAUTION), (1.01, Status.FAIL)],
)
def test_head_status(share: float, status: Status) -> None:
    assert AXIS_CAUTION_SHARE == 0.7
    side = 'centre_of_mass = ["40 mm", "0 mm", "0 mm"]'
    total = 0.1 + WIRE
    result = run(
        on_head(
            f"{total / share} kg",
            f"{G * 0.2 * (0.1 + WIRE / 2) / share} N*m",
            f"{G * 0.004 / share} N*m",
            prop=side,
        )
    )
    for name in ("axis-payload", "axis-moment", "axis-torque"):
        found = finding(result, name)
        assert found.status is status
        if status is Status.PASS:
            assert found.says == "The head is used to 69 % of its rating."
            assert found.advice == ()
        elif status is Status.FAIL:
            assert found.says == "The head is overloaded: 1.01 times its rating."
        else:
            assert found.says.endswith("% of its rating; little is left for a jolt.")
    if status is Status.FAIL:
        rating = total / 1.01
        assert finding(result, "axis-payload").advice == (
            f"Take off {mass_words(total - 0.7 * rating)}, or take a stronger head.",
        )
        # 30.7 % of the level distance, hypot(40, 200) mm.
        assert finding(result, "axis-moment").advice == (
            "Bring the prop about 63 mm nearer to the head, or make it lighter.",
        )
        assert finding(result, "axis-torque").advice == (
            "Add 80 g at 50 mm on the other side of the shaft: the torque falls to about 0 N*m.",
        )


def test_counterweight_balances() -> None:
    assert COUNTERWEIGHT_ARM == 0.05
    both = """
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "200 mm"
offset = ["30 mm", "0 mm", "0 mm"]
"""
    result = run(rig(more=both))
    # The second wire, 30 mm off the shaft: m_w 30 / 50.
    assert figure(result, "counterweight that balances it").startswith(f"{mass_words(WIRE * 0.6)} at 50 mm")


def test_sleeves_and_insert_are_on_the_head() -> None:
    sleeve = """
[[prop.support.sleeve]]
material = "brass-c260"
diameter = "4 mm"
wall = "0.45 mm"
start = "50 mm"
end = "150 mm"
"""
    insert = '[prop.insert]\nmaterial = "greyboard"\nthickness = "2 mm"\nsize = ["100 mm", "50 mm"]'
    result = run(rig(more=sleeve + insert))
    # 1290 g/m2 is printed for 2 mm (the data file's S40).
    total = 0.1 + WIRE + 8530 * math.pi * 0.45e-3 * 3.55e-3 * 0.1 + 1.29 * 0.1 * 0.05
    assert figure(result, "mass on the head") == f"{total:.3g} kg"


def test_ratings_left_out() -> None:
    result = run(rig(more='[prop.axis]\npayload = "3 kg"'))
    assert finding(result, "axis-payload").status is Status.PASS
    assert_skipped(result, "No rating is given.", "axis-moment", "axis-torque")
    bare = run(rig(head=LINEAR))
    assert not [name for name in names(bare) if name.startswith("axis")]
    assert figure(bare, "moment across the shaft") == f"{G * 0.2 * (0.1 + WIRE / 2):.3g} N*m"
    assert figure(bare, "torque about the shaft") == "0 N*m"


ROLL = '[[prop.move]]\nroll = "180 deg"\nduration = "0.8 s"\nprofile = "harmonic"\nabout = "toward"\n'


def test_rolling_torque_by_hand() -> None:
    """``m g e + I alpha`` with ``alpha = pi^2 / 2 stroke / T^2`` of simple harmonic motion (derived here)."""
    side = (
        'centre_of_mass = ["40 mm", "0 mm", "0 mm"]\ninertia = ["1e-4 kg*m^2", "1e-4 kg*m^2", "2e-4 kg*m^2"]'
    )
    result = run(on_head(prop=side, more=ROLL))
    alpha = math.pi**2 / 2 * math.pi / 0.8**2
    wanted = 0.1 * G * 0.04 + (2e-4 + 0.1 * 0.04**2) * alpha
    assert finding(result, "axis-torque").value == pytest.approx(wanted, rel=1e-6)
    # The wire turns with the shaft, so the jaw has to hold the same.
    assert finding(result, "roll-slip").value == pytest.approx(wanted / 1.5e-3, rel=0.02)


def test_roll_about_another_shaft() -> None:
    """About the vertical through the root: no weight, prop and wire (m L^2 / 3) turn about their end."""
    roll = ROLL.replace('"toward"', '"up"')
    result = run(on_head(prop='inertia = ["1e-4 kg*m^2", "1e-4 kg*m^2", "2e-4 kg*m^2"]', more=roll))
    alpha = math.pi**2 / 2 * math.pi / 0.8**2
    wanted = (1e-4 + 0.1 * 0.2**2 + WIRE * 0.2**2 / 3) * alpha
    assert finding(result, "axis-torque").value == pytest.approx(wanted, rel=1e-6)


def test_fast_roll_asks_for_a_slower_one() -> None:
    text = on_head(
        torque="0.001 N*m", prop='inertia = ["1e-4 kg*m^2", "1e-4 kg*m^2", "2e-4 kg*m^2"]', more=ROLL
    )
    found = finding(run(text), "axis-torque")
    assert found.status is Status.FAIL
    alpha = math.pi**2 / 2 * math.pi / 0.8**2
    assert found.advice == (f"Make the move about {math.sqrt(2e-4 * alpha / 0.0007):.2g} times as long.",)


def test_moving_moment_is_more_than_the_settled_one() -> None:
    lift = '[[prop.move]]\nslide = "200 mm"\nduration = "0.5 s"\nalong = "up"\n'
    quiet, moving = run(on_head()), run(on_head(more=lift))
    still, peak = finding(quiet, "axis-moment").value, finding(moving, "axis-moment").value
    assert still is not None
    assert peak is not None
    # Rigid, the lift alone would add m a L with a = 4.5 stroke / T^2; the wire's swing and the sum of bounds make
    # it more, but not thrice as much.
    rigid = (0.1 + WIRE / 2) * 0.2 * 4.5 * 0.2 / 0.5**2
    assert still + rigid < peak < still + 3 * rigid


def test_no_settled_state() -> None:
    text = rig(
        mass="40 kg",
        length='length = "300 mm"\nfrom = "below"',
        more=AXIS.format(payload="3 kg", moment="2 N*m", torque="1 N*m"),
    )
    judged = ("roll-slip", "axis-payload", "axis-moment", "axis-torque")
    assert_skipped(run(text), "There is no settled state to judge it by.", *judged)
