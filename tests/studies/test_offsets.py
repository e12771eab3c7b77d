"""Mount offsets: applied to the rig and computed again, the prop has to sit on its mark."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from check_parts import computed, rig_file
from line_rigs import Line, shot_on_lines
from scipy.spatial.transform import Rotation

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.evaluate import Outcome, evaluate
from rigcheck.studies.offsets import MountOffset, mount_offsets, offsets
from rigcheck.studies.reading.prop import Reading, read_prop
from rigcheck.studies.results import Contribution, Status
from rigcheck.studies.rigs import Rig

LEVEL = 'length = "200 mm"'
BENT = 'path = [["-30 mm", "-40 mm", "-180 mm"], ["0 mm", "0 mm", "-120 mm"], ["0 mm", "0 mm", "0 mm"]]'


def rig(
    support: str = LEVEL,
    *,
    mass: str = "80 g",
    centre: str = '["0 mm", "0 mm", "0 mm"]',
    size: str = "2.5 mm",
) -> str:
    wire = ('material = "music-wire"', f'diameter = "{size}"', support)
    return rig_file(*wire, name="crane", mass=mass, prop=f"centre_of_mass = {centre}")


def settled(text: str) -> tuple[Reading, Outcome]:
    work = computed(text)
    return work.reading, work.reading.task.evaluate()


def said(text: str) -> Contribution:
    return offsets(computed(text))


def miss(
    reading: Reading, offset: MountOffset, displacement: Literal["auto", "large"] = "auto"
) -> tuple[np.ndarray, np.ndarray]:
    """Where the centre of mass ends beside its mark [m], and how far the prop is turned [rad]."""
    given: Rig = reading.task.rig
    support = given.supports[0]
    root, centre = support.points[0, 0], given.centre_of_mass[0]
    turn = Rotation.from_rotvec(offset.turn)
    points = root + turn.apply(support.points[0] - root)
    moved = root + turn.apply(centre - root)
    tip = points[-1]
    spin = turn.as_matrix()
    turned = replace(
        given,
        supports=(replace(support, points=(points - tip)[None]),),
        centre_of_mass=(moved - tip)[None],
        inertia=(spin @ given.inertia[0] @ spin.T)[None],
    )
    after = evaluate(turned, replace(reading.task.settings, displacement=displacement))
    place = moved + after.displacement[0] + offset.shift
    held = Rotation.from_rotvec(after.rotation[0]) * turn
    return place - centre, held.as_rotvec()


@pytest.mark.parametrize(
    ("text", "share"),
    [
        (rig(size="4 mm"), 0.02),  # small: taken from the settled state as it is
        (rig(size="4 mm", centre='["15 mm", "5 mm", "20 mm"]'), 0.02),
        (rig(), 1e-4),
        (rig(centre='["15 mm", "5 mm", "20 mm"]'), 1e-4),
        (rig(BENT, centre='["15 mm", "5 mm", "20 mm"]'), 1e-4),
        (rig(mass="100 g", size="2 mm", support='length = "300 mm"'), 1e-4),
        (rig(mass="60 g", size="1.5 mm", support='length = "300 mm"'), 1e-4),  # 110 mm of sag, 32 degrees
        (rig(mass="60 g", size="1.5 mm", centre='["25 mm", "10 mm", "20 mm"]'), 1e-4),
        (rig('length = "200 mm"\nfrom = "below"', centre='["15 mm", "25 mm", "20 mm"]'), 1e-4),
        (rig('length = "200 mm"\nfrom = "above"', centre='["15 mm", "-25 mm", "20 mm"]'), 1e-4),
        (rig('length = "200 mm"\nfrom = "left"'), 1e-4),
    ],
)
def test_prop_settles_on_its_mark(text: str, share: float) -> None:
    reading, still = settled(text)
    moved = float(np.linalg.norm(still.displacement[0]))
    turned = float(np.linalg.norm(still.rotation[0]))
    alone, level = mount_offsets(still)
    away, held = miss(reading, alone)
    # The whole rig is shifted, so nothing else changes.
    assert np.abs(away).max() < 1e-12
    assert held == pytest.approx(still.rotation[0], abs=1e-12)
    assert level is not None
    away, held = miss(reading, level, "large")
    assert float(np.linalg.norm(away)) < share * moved
    # The turn is found to 1e-5 rad.
    assert float(np.linalg.norm(held)) < share * turned + 1e-5


def test_first_order_form() -> None:
    """``theta x (c - root) - u`` where the turn is small (derived here)."""
    _, still = settled(rig(mass="10 g", centre='["15 mm", "5 mm", "20 mm"]'))
    _, level = mount_offsets(still)
    assert level is not None
    arm = still.rig.centre_of_mass[0] - still.rig.supports[0].points[0, 0]
    first = np.cross(still.rotation[0], arm) - still.displacement[0]
    # The next order is theta times the sag and theta squared times the arm.
    angle = float(np.linalg.norm(still.rotation[0]))
    next_order = angle * float(np.linalg.norm(still.displacement[0])) + angle**2 * float(np.linalg.norm(arm))
    assert np.abs(level.shift - first).max() < next_order


def test_cantilever_by_hand() -> None:
    """Tip load, no weight of its own to speak of: sag u, slope 1.5 u / L, so it goes down by u / 2 once tilted."""
    result = said(rig(mass="300 g", size="6 mm", support='length = "200 mm"'))
    found = result.findings[0]
    own = 7850 * np.pi / 4 * 0.006**2 * 0.2
    stiffness = 193e9 * np.pi * 0.006**4 / 64
    sag = 9.80665 * (0.3 * 0.2**3 / 3 + own * 0.2**3 / 8) / stiffness
    slope = 9.80665 * (0.3 * 0.2**2 / 2 + own * 0.2**2 / 6) / stiffness
    # Shear adds 0.1 %.
    assert found.value == pytest.approx(sag * 1e3, rel=2e-3)
    assert (found.id, found.status, found.limit, found.unit) == ("offsets", Status.PASS, None, "mm")
    assert found.says == "Set the mount off before the prop is hung, and the weight brings it to its mark."
    up, down = f"{sag * 1e3:.2g} mm", f"{(slope * 0.2 - sag) * 1e3:.2g} mm"
    tilt = f"{np.rad2deg(slope):.2g} deg"
    assert found.advice == (
        f"Raise the mount {up}, and crane settles on its mark.",
        f"Or tilt the tip up by {tilt}, then lower the mount {down}; then it also hangs straight.",
    )
    assert [(item.label, item.value) for item in result.figures] == [
        ("mount, shift alone", f"raise the mount {up}"),
        ("mount, shift and tilt", f"tilt the tip up by {tilt}, then lower the mount {down}"),
    ]
    assert result.figures[1].note == "tilted about the root of the first support"


def test_words_for_every_way() -> None:
    below = said(rig('length = "200 mm"\nfrom = "below"', centre='["15 mm", "25 mm", "20 mm"]')).findings[0]
    assert below.advice[0] == (
        "Raise the mount 0.27 mm and shift it 0.82 mm to the left and 1.1 mm away from the camera,"
        " and crane settles on its mark."
    )
    assert (
        "tilt the tip to the left by 0.35 deg and tilt the tip away from the camera by 0.47 deg"
        in below.advice[1]
    )
    twisted = said(rig(centre='["40 mm", "0 mm", "0 mm"]')).findings[0]
    # The weight on the right turns the prop clockwise for one who looks from it along the wire, so it turns back.
    assert "deg counterclockwise as seen from the prop" in twisted.advice[1]


def test_nothing_to_do() -> None:
    found = said(rig('length = "200 mm"\nfrom = "above"')).findings[0]
    assert found.advice == ()
    assert found.says == "The mount needs no offset."


def test_tilt_without_a_shift() -> None:
    """A shift too small to name leaves the tilt, as a sentence of its own."""
    hung = rig('length = "60 mm"\nfrom = "above"', centre='["3.6 mm", "0 mm", "0 mm"]', size="2 mm")
    advice = said(hung).findings[0].advice
    assert len(advice) == 1
    assert advice[0].startswith("Tilt the tip to the ")


def test_no_settled_state() -> None:
    found = said(rig('length = "300 mm"\nfrom = "below"', mass="5 kg", size="1 mm")).findings[0]
    assert (found.status, found.says) == (Status.SKIPPED, "There is no settled state to set the mount by.")


def test_a_line_is_not_tilted() -> None:
    lines = [Line(root=(-100, 500, 0), tip=(-20, 0, 0)), Line(root=(100, 500, 0), tip=(20, 0, 0))]
    shot = shot_on_lines(lines, centre=(3.0, -20.0, 0.0))
    reading = read_prop(shot, shot.prop[0])
    alone, level = mount_offsets(reading.task.evaluate())
    assert level is None
    assert alone.shift[1] > 0


def test_nothing_levels_a_prop_on_a_limp_wire() -> None:
    """It hangs with its centre of mass under the tip, however the mount is turned."""
    hung = rig('length = "400 mm"\nfrom = "above"', centre='["15 mm", "-15 mm", "0 mm"]', size="0.2 mm")
    _, still = settled(hung)
    assert still.solved[0]
    assert mount_offsets(still)[1] is None


def test_a_wire_that_yields_is_shifted_by_all_of_its_sag() -> None:
    text = rig(mass="30 g", support='length = "120 mm"', size="2 mm").replace(
        "music-wire", "aluminium-1100-o"
    )
    result = check(rig_from_text(text)).props[0]
    assert result.static is not None
    (found,) = (item for item in result.findings if item.id == "offsets")
    assert found.value == pytest.approx(result.static.sag.m_as("mm"))
    assert found.says.endswith("once it has hung and the support has given way.")
    assert len(found.advice) == 1
