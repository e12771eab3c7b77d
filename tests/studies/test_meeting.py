"""Closest approach of several props: by hand, against a general solver, and followed through to its advice."""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, lsq_linear

from rigcheck.errors import ArgumentError
from rigcheck.files import rig_from_text
from rigcheck.model import Shot
from rigcheck.motion.distance_measures import peak_distance
from rigcheck.motion.profiles import profile
from rigcheck.studies.approach_search import NEAR, least_clearance
from rigcheck.studies.approaching import Approach, Scene, approaches, scene_of
from rigcheck.studies.carried import carried
from rigcheck.studies.meeting import meeting, meeting_of
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Contribution, Status
from rigcheck.studies.swinging import swing

STIFF = 'material = "carbon-rod"\ndiameter = "6 mm"\nlength = "100 mm"\n'
"""Under a few grams it sags by a few thousandths of a millimetre, so that hand figures hold."""
WHEN = 'duration = "4 s"\nprofile = "polynomial-4567"\n'


def prop(
    name: str,
    mark: tuple[float, float, float] | None,
    size: tuple[float, float, float] | None,
    *,
    shape: str = "box",
    mass: str = "2 g",
    support: str = STIFF,
    move: str = "",
    more: str = "",
) -> str:
    """One prop; marks and sizes in mm."""
    marked = "" if mark is None else f"mark = {[f'{value} mm' for value in mark]}\n"
    sized = "" if size is None else f'shape = "{shape}"\nsize = {[f"{value} mm" for value in size]}\n'
    return (
        f'[[prop]]\nname = "{name}"\nmass = "{mass}"\n{marked}{sized}{more}[[prop.support]]\n{support}{move}'
    )


def slide(way: str, stroke: str = "100 mm", when: str = WHEN) -> str:
    return f'[[prop.move]]\nslide = "{stroke}"\nalong = "{way}"\n{when}'


def roll(angle: str, about: str = '"toward"', through: str = "", when: str = WHEN) -> str:
    return f'[[prop.move]]\nroll = "{angle}"\nabout = {about}\n{through}{when}'


class Run:
    """A shot with all its props computed."""

    def __init__(self, *text: str) -> None:
        self.shot: Shot = rig_from_text("\n".join(text))
        self.readings = [read_prop(self.shot, one) for one in self.shot.prop]
        self.stills = [reading.task.evaluate() for reading in self.readings]
        self.motions = [
            reading.task.move(still) if still.solved[0] else None
            for reading, still in zip(self.readings, self.stills, strict=True)
        ]

    def scene(self) -> Scene:
        return scene_of(self.shot, self.readings, self.stills, self.motions)

    def approaches(self) -> tuple[Approach, ...]:
        return approaches(self.shot, self.readings, self.stills, self.motions)

    def meeting(self) -> tuple[Contribution, ...]:
        return meeting(self.shot, self.readings, self.stills, self.motions)

    def statuses(self) -> list[str]:
        """Of every prop; what each says alone, for a verdict, is held against what it says among all."""
        given = (self.shot, self.readings, self.stills, self.motions)
        found = [part.findings[0].status.value for part in self.meeting()]
        assert [meeting_of(*given, index).status.value for index in range(len(found))] == found
        return found


CUBE = (20, 20, 20)


def two_cubes(gap: float, **more: str) -> Run:
    """Two cubes that come together from left and right, their faces `gap` mm apart at rest."""
    return Run(
        prop("inkwell", (-10, 0, 0), CUBE, move=slide("right")),
        prop("notebook", (10 + gap, 0, 0), CUBE, move=slide("left"), **more),
    )


# -- hand figures ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gap", "status"),
    # What both may be off: 1 mm each; lag and wobble of these light props are under a hundredth of a millimetre.
    [(8.0, "pass"), (2.1, "pass"), (1.9, "caution"), (0.5, "caution"), (-1.9, "caution"), (-2.1, "fail")],
)
def test_two_cubes_that_come_together(gap: float, status: str) -> None:
    run = two_cubes(gap)
    (pair,) = run.approaches()
    assert pair.exact
    # The settled lean of a thousandth of a radian moves a face by 0.01 mm.
    assert pair.gap * 1e3 == pytest.approx(gap, abs=0.02)
    assert pair.margin * 1e3 == pytest.approx(2.0, abs=0.02)
    assert pair.at_rest
    assert pair.time == pytest.approx(4.0)
    assert run.statuses() == [status, status]
    value, limit = run.meeting()[0].findings[0].value, run.meeting()[0].findings[0].limit
    assert (value, limit) == (pytest.approx(gap, abs=0.02), pytest.approx(2.0, abs=0.02))


def test_when_they_meet() -> None:
    """Head on, 12 mm too far: they touch where the profile has 6 mm of each still to go."""
    (pair,) = two_cubes(-12.0).approaches()
    law = profile("polynomial-4567")
    share = brentq(lambda u: float(law.displacement(u)) - 0.94, 0.1, 0.9)
    assert pair.status is Status.FAIL
    assert pair.touch == pytest.approx(4.0 * share, abs=4.0 / 190)  # one step of the times looked at
    assert pair.gap * 1e3 == pytest.approx(-12.0, abs=0.5)


def test_spheres_that_cross() -> None:
    """Paths at right angles: the nearest is on the way, at 30 mm / sqrt 2 between the middles."""
    run = Run(
        prop("ball", (100, 0, 0), (16, 16, 16), shape="sphere", move=slide("right", "200 mm")),
        prop("drop", (30, 100, 0), (16, 16, 16), shape="sphere", move=slide("up", "200 mm")),
    )
    (pair,) = run.approaches()
    # With both at w, the distance of (w, 0) and (30, w) is least at w = 15: where 115 of 200 mm are done.
    assert pair.gap * 1e3 == pytest.approx(30 / np.sqrt(2) - 16, abs=0.01)
    share = brentq(lambda u: float(profile("polynomial-4567").displacement(u)) - 0.575, 0.1, 0.9)
    assert pair.time == pytest.approx(4.0 * share, abs=4.0 / 400)
    assert not pair.at_rest
    assert run.statuses() == ["pass", "pass"]


def test_a_roll_sweeps_past() -> None:
    """A ruler turns through its middle beside a ball; half way its end points at the ball."""
    run = Run(
        prop(
            "ruler",
            (0, 0, 0),
            (100, 4, 4),
            move=roll("180 deg", through='through = ["0 mm", "0 mm", "0 mm"]\n'),
        ),
        prop("ball", (0, 63, 0), (16, 16, 16), shape="sphere"),
    )
    (pair,) = run.approaches()
    # Its long edge at 2 mm off the middle reaches a little farther than its end.
    assert pair.gap * 1e3 == pytest.approx(63 - np.hypot(50, 2) - 8, abs=0.01)
    # ... twice, when that edge points at the ball: 2.3 degrees before and after half way.
    assert pair.time == pytest.approx(2.0, abs=0.05)
    assert not pair.at_rest
    words = run.meeting()[1].findings[0].says
    assert re.fullmatch(
        r"It comes within 5 mm of ruler at [12]\.\d\d s; both together may be 2 mm off\.", words
    )


def test_the_lean_of_a_settled_prop_counts() -> None:
    """A long bar on a soft wire droops at its end: its lower corner comes to lie over the prop beneath."""
    soft = 'material = "music-wire"\ndiameter = "2 mm"\nlength = "150 mm"\n'
    run = Run(
        prop("bar", (0, 0, 0), (10, 4, 100), mass="80 g", support=soft),
        prop("block", (0, -20, 45), (30, 20, 6)),
    )
    (pair,) = run.approaches()
    lean = float(run.stills[0].rotation[0, 0])  # about right: the near end goes down
    assert lean > 0.01
    # The lower near edge of the bar turned about its middle, over the top of the block at y = -10 mm.
    lowest = max(
        50 * np.sin(lean) * share + 2 * np.cos(lean) for share in (48 / 50,)
    )  # where the block's far edge ends, z = 48 mm
    assert pair.gap * 1e3 == pytest.approx(10 - lowest, abs=0.1)


@pytest.mark.parametrize("shape", ["box", "cylinder", "disc", "sphere"])
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_of_what_is_far_a_bound_is_told(shape: str, axis: int) -> None:
    """Face to face the bound is the distance itself: 40 mm between the middles, less half of each size."""
    size = (12.0, 18.0, 18.0) if shape != "sphere" else (18.0, 18.0, 18.0)
    place = [0.0, 0.0, 0.0]
    place[axis] = 40.0
    along = 'along = "right"\n' if shape in ("cylinder", "disc") else ""
    # From below or from behind, out of the way of the other.
    support = STIFF + ('from = "below"\n' if axis == 2 else "")
    run = Run(
        prop("inkwell", (0, 0, 0), size, shape=shape, support=support, more=along),
        prop("block", (place[0], place[1], place[2]), CUBE, support=support),
    )
    (pair,) = run.approaches()
    assert not pair.exact
    assert pair.gap * 1e3 == pytest.approx(40 - 10 - size[axis] / 2, abs=0.05)
    assert pair.status is Status.PASS
    words = run.meeting()[0].figures[0]
    assert (words.label, words.value.startswith("at least ")) == ("nearest to block", True)


# -- against a general solver ------------------------------------------------------------------------------


Boxes = list[tuple[NDArray, NDArray, NDArray, float]]
"""Middle, axes as columns, half sizes, and a radius around."""


def box_distance(one: Boxes, other: Boxes) -> float:
    """Least distance of boxes: for each two a least-squares problem with bounds."""
    distances = []
    for c1, a1, h1, r1 in one:
        for c2, a2, h2, r2 in other:
            matrix = np.concatenate([a1 * h1, -a2 * h2], axis=1)
            nearest = lsq_linear(matrix, c2 - c1, (-1, 1), tol=1e-14).x
            distances.append(float(np.linalg.norm(matrix @ nearest + c1 - c2)) - r1 - r2)
    return min(distances)


def as_boxes(run: Run, index: int, time: float) -> Boxes:
    """A prop and its straight support at one time; the support is a box without width and a radius around."""
    body = carried(run.shot.prop[index], run.readings[index], run.stills[index])
    rotation, position = (part[0] for part in body.poses(np.array([time])))
    root, tip = body.lines[0].points[[0, -1]]
    way = (tip - root) / np.linalg.norm(tip - root)
    axes = np.linalg.svd(way[None])[2].T  # the first column is the way
    half = np.array([np.linalg.norm(tip - root) / 2, 0.0, 0.0])
    return [
        (position + rotation @ body.centre, rotation @ body.orientation, body.size / 2, 0.0),
        (position + rotation @ (root + tip) / 2, rotation @ axes, half, 3e-3),
    ]


@pytest.mark.parametrize(
    ("mark", "turn"),
    [
        ((70, 20, 5), "-70 deg"),  # nearest at rest
        ((50, -40, 10), "-70 deg"),  # on the way
        ((-40, -62, 25), "60 deg"),  # on the way, their supports
        ((60, -60, 20), "-70 deg"),  # far
    ],
)
def test_rolling_and_sliding_boxes_against_bounded_least_squares(
    mark: tuple[float, float, float], turn: str
) -> None:
    """scipy.optimize.lsq_linear solves the same convex problem; here over all of the move, brute force."""
    quick = WHEN.replace("4 s", "3 s")
    run = Run(
        prop(
            "ruler",
            (0, 0, 0),
            (90, 12, 20),
            move=slide("up", "80 mm") + roll("140 deg", "[1, 2, 3]", when=quick),
        ),
        prop("block", mark, (30, 24, 40), move=slide("left", "60 mm") + roll(turn, '"up"')),
    )
    (pair,) = run.approaches()
    times = np.linspace(0.0, 4.0, 31)
    gaps = np.array([box_distance(as_boxes(run, 0, time), as_boxes(run, 1, time)) for time in times])
    least = float(gaps.min())
    assert least > 0.5e-3
    bound = least_clearance(*run.scene().courses)
    assert bound <= pair.clearance + 1e-9
    if not pair.exact:
        assert pair.clearance >= NEAR
        assert pair.gap <= least
        return
    # What it found is true of its own time, and nothing at the other times is nearer.
    assert pair.time is not None
    there = box_distance(as_boxes(run, 0, pair.time), as_boxes(run, 1, pair.time))
    assert pair.gap == pytest.approx(there, abs=1e-8)
    assert pair.gap <= least + 6e-5  # 0.05 mm of grace for naming the time at rest


# -- how far they may be off -------------------------------------------------------------------------------


SWINGING = 'material = "music-wire"\ndiameter = "2 mm"\nlength = "160 mm"\n'


@pytest.mark.parametrize(
    "move",
    [
        slide("up", when='duration = "1.3 s"\n'),
        slide("up", when='duration = "1.1 s"\nprofile = "harmonic"\n') + slide("right", "30 mm"),
        roll("90 deg", when='duration = "1.5 s"\nprofile = "cycloidal"\n'),
    ],
)
def test_the_deviation_over_time_holds_the_one_that_the_check_reports(move: str) -> None:
    run = Run(prop("ball", (0, 0, 0), (20, 20, 20), mass="60 g", support=SWINGING, move=move))
    motion = run.motions[0]
    course = swing(run.readings[0], run.stills[0])
    assert motion is not None
    assert course is not None
    peak = float(motion.peak_deviation[0])
    assert peak > 2e-4
    # A bound over the phase of the wobble: above the peak that was followed exactly, but close to it.
    assert peak * 0.999 <= course.reach.max() <= peak * 1.35
    # When the moves have ended only the ringing is left, whose extent is twice its reach.
    path = (course.shape * np.exp(0)) @ np.hypot(course.value, course.rate / course.angular_frequency)[
        :, None
    ]
    assert float(peak_distance(path[None])[0]) <= course.reach[-1] * (1 + 1e-6)
    assert 2 * course.reach[-1] >= float(motion.residual[0]) * 0.999


def test_a_swinging_prop_needs_more_room_on_its_way_than_at_rest() -> None:
    quick = 'duration = "1.3 s"\nprofile = "cycloidal"\n'
    swinging = prop(
        "ball", (0, 0, 0), CUBE, mass="60 g", support=SWINGING, move=slide("right", "150 mm", quick)
    )
    passing = Run(swinging, prop("block", (-75, 25, 0), CUBE)).approaches()[0]
    resting = Run(swinging, prop("block", (0, 25, 0), CUBE)).approaches()[0]
    assert passing.gap == pytest.approx(resting.gap, abs=2e-4)
    assert passing.margin > resting.margin + 1e-4
    assert (passing.at_rest, resting.at_rest) == (False, True)


def test_a_prop_that_lags_far_is_not_clear_for_being_so_at_rest() -> None:
    """It goes along a wall: as far from it at rest as on its way, where it may be off by more than that."""
    soft = 'material = "music-wire"\ndiameter = "1.2 mm"\nlength = "220 mm"\nfrom = "above"\n'
    quick = 'duration = "0.8 s"\nprofile = "cycloidal"\n'
    run = Run(
        prop("ball", (0, 0, 0), CUBE, mass="30 g", support=soft, move=slide("right", "300 mm", quick)),
        prop("wall", (-100, 0, -36), (600, 20, 20)),
    )
    (pair,) = run.approaches()
    assert run.motions[0] is not None
    assert float(run.motions[0].residual[0]) < 3e-3  # clear at rest by more than the bounds care for
    assert pair.gap == pytest.approx(16e-3, abs=1e-4)
    assert pair.margin > 20e-3
    assert run.statuses() == ["caution", "caution"]


def test_the_range_of_a_mark_is_its_tolerance() -> None:
    run = two_cubes(1.0)
    assert run.statuses() == ["caution", "caution"]
    tight = Run(
        prop("inkwell", (-10, 0, 0), CUBE).replace("'-10 mm'", "'-10 mm +/- 0.2 mm'"),
        prop("notebook", (11, 0, 0), CUBE).replace("'11 mm'", "'11 mm +/- 0.2 mm'"),
    )
    assert tight.statuses() == ["pass", "pass"]
    assert tight.approaches()[0].margin == pytest.approx(4e-4, abs=1e-5)
    assert "It may be 0.2 mm off its mark, beside lag and wobble." in tight.meeting()[0].assumptions
    assert "It may be 1 mm off its mark (a choice), beside lag and wobble." in run.meeting()[0].assumptions


# -- three props that arrive together ----------------------------------------------------------------------


def desk_set(crane: float = -25.0) -> Run:
    """The desk set: it arrives together, crane and notebook 4 mm apart at the face that turns to the other."""
    return Run(
        "[camera]\nfield_width = '420 mm'\nimage_width = 3840\nframe_rate = '50 fps'\n",
        prop(
            "inkwell",
            (-110, 10, 0),
            (52, 45, 52),
            shape="cylinder",
            mass="310 g",
            support='material = "stainless-304-spring"\ndiameter = "6 mm"\nlength = "160 mm"\n',
            move=slide("up", "180 mm"),
        ),
        prop(
            "notebook",
            (76.5, -30, 0),
            (105, 12, 148),
            mass="190 g",
            support='material = "carbon-rod"\ndiameter = "5 mm"\nlength = "220 mm"\n',
            move=slide("left", "150 mm"),
        ),
        prop(
            "paper crane",
            (crane, -20, 0),
            (90, 50, 70),
            mass="14 g",
            support='material = "aluminium-1100-o"\ndiameter = "1.5 mm"\nlength = "200 mm"\n',
            move=slide("up", "120 mm", 'start = "1 s"\nduration = "3 s"\nprofile = "cycloidal"\n'),
        ),
    )


def test_three_props_arrive_together() -> None:
    run = desk_set()
    nearest, *others = run.approaches()
    # 76.5 - 105 / 2 = 24 mm is the notebook's left face, -25 + 90 / 2 = 20 mm the crane's right one.
    assert nearest.gap * 1e3 == pytest.approx(4.0, abs=0.01)
    assert {nearest.first, nearest.second} == {"notebook", "paper crane"}
    assert nearest.at_rest
    assert nearest.pixels == pytest.approx(4.0 * 3840 / 420, rel=0.01)
    assert run.statuses() == ["pass", "pass", "pass"]
    # -110 + 26 = -84 mm is the inkwell's right side, -25 - 45 = -70 mm the crane's left.
    passed = next(pair for pair in others if {pair.first, pair.second} == {"inkwell", "paper crane"})
    assert (passed.exact, passed.at_rest) == (False, True)
    assert passed.gap * 1e3 == pytest.approx(14.0, abs=0.01)
    assert run.meeting()[0].findings[0].says == (
        "It stays at least 14 mm clear of paper crane; both together may be 2 mm off."
    )


def test_moving_one_by_5_mm_turns_the_finding() -> None:
    assert desk_set().statuses() == ["pass", "pass", "pass"]
    moved = desk_set(crane=-20.0)
    assert moved.statuses() == ["pass", "caution", "caution"]
    finding = moved.meeting()[1].findings[0]
    assert finding.value == pytest.approx(-1.0, abs=0.01)
    assert finding.says == (
        "As planned it overlaps paper crane by 1 mm when they have come to rest; both together may be 2 mm off,"
        " so they are likely to touch."
    )
    assert finding.advice == ("Move its mark 3.5 mm to the right, and it keeps clear of the others.",)


# -- advice is a claim -------------------------------------------------------------------------------------


@pytest.mark.parametrize("gap", [1.0, -1.0, -7.3])
def test_the_mark_that_is_advised_clears_it(gap: float) -> None:
    run = two_cubes(gap)
    for index, part in enumerate(run.meeting()):
        (advice,) = part.findings[0].advice
        found = re.fullmatch(
            r"Move its mark (\S+) mm to the (left|right), and it keeps clear of the others\.", advice
        )
        assert found
        step = float(found[1]) * (1 if found[2] == "right" else -1)
        marks = [(-10.0, 0, 0), (10.0 + gap, 0, 0)]
        marks[index] = (marks[index][0] + step, 0, 0)
        moved = Run(
            prop("inkwell", marks[0], CUBE, move=slide("right")),
            prop("notebook", marks[1], CUBE, move=slide("left")),
        )
        assert moved.statuses() == ["pass", "pass"]
        # And half a millimetre less would not do.
        assert moved.approaches()[0].clearance < 5.1e-4


def test_a_later_start_that_is_advised_clears_it() -> None:
    def crossing(start: str = "0 s") -> Run:
        late = WHEN + f'start = "{start}"\n'
        return Run(
            # It is the second to come by already, so a little later is enough and a little earlier makes it worse.
            prop("ball", (80, 0, 0), CUBE, move=slide("right", "200 mm", late)),
            prop("drop", (0, 100, 0), CUBE, move=slide("up", "200 mm")),
        )

    run = crossing()
    assert run.statuses() == ["fail", "fail"]
    advice = run.meeting()[0].findings[0].advice[0]
    assert advice == "Start its moves 0.25 s later, and it keeps clear of the others."
    assert crossing("0.25 s").statuses() == ["pass", "pass"]
    words = run.meeting()[0].findings[0].says
    assert re.fullmatch(
        r"It runs into drop at 2\.\d\d s: as planned they overlap by \d+\.?\d* mm at 2\.\d\d s\.", words
    )


# -- supports ----------------------------------------------------------------------------------------------


def test_a_support_in_the_way_of_a_prop() -> None:
    """The ball's rod comes in from the left, 5 mm over the block's top less its radius of 3 mm."""
    run = Run(
        prop("ball", (80, 18, 0), (10, 10, 10), shape="sphere", support=STIFF + 'from = "left"\n'),
        prop("block", (20, 0, 0), (20, 26, 20), move=slide("toward", "200 mm")),
    )
    (pair,) = run.approaches()
    assert (pair.first_support, pair.second_support) == (True, False)
    assert pair.gap * 1e3 == pytest.approx(18 - 3 - 13, abs=0.02)
    first, second = (part.findings[0].says for part in run.meeting())
    assert first.startswith("Its support comes within 2 mm of block when they have come to rest")
    assert second.startswith("It comes within 2 mm of the support of ball")


def test_a_bent_support_is_followed_along_its_bend() -> None:
    """A soft wire from the left sags: it leaves its root level, above the straight line to its tip."""
    soft = 'material = "music-wire"\ndiameter = "1.5 mm"\nlength = "200 mm"\nfrom = "left"\n'
    run = Run(
        prop("ball", (100, 0, 0), (20, 20, 20), shape="sphere", mass="60 g", support=soft),
        prop("block", (0, 46, 0), (20, 20, 20), support=STIFF + 'from = "above"\n'),
    )
    still = run.stills[0]
    body = carried(run.shot.prop[0], run.readings[0], still)
    points = body.lines[0].points + body.base
    assert float(still.sag[0]) > 15e-3
    # The block's under side spans the middle of the wire; its left edge is nearest to the falling wire.
    height = float(np.interp(-10e-3, points[:, 0], points[:, 1]))
    chord = float(np.interp(-10e-3, points[[0, -1], 0], points[[0, -1], 1]))
    assert height > chord + 2e-3
    (pair,) = run.approaches()
    assert (pair.first_support, pair.second_support) == (True, False)
    slope = float(np.interp(-10e-3, points[1:, 0], np.diff(points[:, 1]) / np.diff(points[:, 0])))
    away = (36e-3 - height) / np.hypot(1.0, slope) - 0.75e-3
    assert pair.exact
    assert pair.gap == pytest.approx(away, abs=2e-4)


def test_a_prop_through_a_support_fails() -> None:
    run = Run(
        prop("ball", (80, 0, 0), (10, 10, 10), shape="sphere", support=STIFF + 'from = "left"\n'),
        prop("block", (20, 0, 0), (20, 26, 20), move=slide("toward", "200 mm")),
    )
    (pair,) = run.approaches()
    # Out in depth, past the block's half of 10 mm and the rod's 3 mm, is the shortest way.
    assert pair.gap * 1e3 == pytest.approx(-13, abs=0.1)
    assert run.statuses() == ["fail", "fail"]


def test_two_supports_that_cross() -> None:
    """Rods from the left and from below, 12 mm apart in depth, less two radii of 3 mm."""
    run = Run(
        prop("ball", (60, 0, 0), (8, 8, 8), shape="sphere", support=STIFF + 'from = "left"\n'),
        prop("drop", (10, 60, 12), (8, 8, 8), shape="sphere", support=STIFF + 'from = "below"\n'),
    )
    (pair,) = run.approaches()
    assert (pair.first_support, pair.second_support) == (True, True)
    assert pair.gap * 1e3 == pytest.approx(12 - 6, abs=0.02)
    assert pair.time is None
    assert run.meeting()[0].findings[0].says == (
        "Its support comes within 6 mm of the support of drop as they stand; both together may be 2 mm off."
    )


# -- what cannot be said -----------------------------------------------------------------------------------


def test_one_prop_alone_meets_nobody() -> None:
    (part,) = Run(prop("ball", (0, 0, 0), CUBE)).meeting()
    assert (part.findings, part.figures, part.assumptions) == ((), (), ())


def test_reasons_for_what_is_left_out() -> None:
    buckles = 'material = "music-wire"\ndiameter = "0.5 mm"\nlength = "400 mm"\nfrom = "below"\n'
    run = Run(
        prop("ball", None, CUBE),
        prop("drop", (0, 0, 0), None),
        prop("block", (40, 0, 0), CUBE, support=buckles, mass="200 g", more=""),
        prop("ruler", (80, 0, 0), CUBE),
    )
    findings = [part.findings[0] for part in run.meeting()]
    assert [finding.status for finding in findings] == [Status.SKIPPED] * 4
    assert [finding.says for finding in findings] == [
        "No mark is given, so its place is not known.",
        "No size is given, so its outline is not known.",
        "There is no settled state to judge it by.",
        "No other prop can be placed.",
    ]


def test_what_is_left_out_is_named_beside_what_is_compared() -> None:
    run = Run(prop("ball", (0, 0, 0), CUBE), prop("block", (27, 0, 0), CUBE), prop("ruler", None, CUBE))
    assert run.statuses() == ["pass", "pass", "skipped"]
    figures = {figure.label: (figure.value, figure.note) for figure in run.meeting()[0].figures}
    assert figures["nearest to block"] == ("7 mm", "as they stand")
    assert figures["nearest to ruler"] == ("not known", "no mark is given, so its place is not known")
    pair = Run(prop("ball", (0, 0, 0), CUBE), prop("ruler", None, CUBE))
    assert (
        pair.meeting()[0].findings[0].says
        == "Of the other props no mark is given, so its place is not known."
    )


def test_of_a_push_only_the_place_at_rest_is_known() -> None:
    push = '[[prop.move]]\nacceleration = "1 m/s^2"\nalong = "right"\nduration = "1 s"\n'
    run = Run(prop("ball", (0, 0, 0), CUBE, move=push), prop("block", (27, 0, 0), CUBE, move=slide("left")))
    (pair,) = run.approaches()
    assert pair.at_rest
    assert pair.gap * 1e3 == pytest.approx(7.0, abs=0.02)
    assert any("only the acceleration" in said for said in run.meeting()[0].assumptions)


def test_one_of_each_is_wanted() -> None:
    run = two_cubes(5.0)
    with pytest.raises(ArgumentError, match=r"given \[1, 2, 2\] for 2 props"):
        meeting(run.shot, run.readings[:1], run.stills, run.motions)


def test_what_is_known_is_not_computed_again() -> None:
    run = two_cubes(5.0)
    found = run.approaches()
    again = meeting(run.shot, run.readings, run.stills, run.motions, found=found)
    assert [part.findings for part in again] == [part.findings for part in run.meeting()]


# -- between the times looked at ----------------------------------------------------------------------------


def passing(offset_mm: float, along_mm: float) -> tuple[float, float]:
    """A small box that flies past a larger one, corner by corner: found and exact least distance [mm]."""
    text = f"""
[[prop]]
name = "box"
mass = "5 g"
mark = ["0 mm", "0 mm", "0 mm"]
shape = "box"
size = ["20 mm", "20 mm", "20 mm"]
[[prop.support]]
material = "carbon-rod"
diameter = "8 mm"
length = "60 mm"
[[prop]]
name = "dice"
mass = "5 g"
mark = ["{150 + along_mm + offset_mm} mm", "{-150 - along_mm + offset_mm} mm", "0 mm"]
shape = "box"
size = ["10 mm", "10 mm", "10 mm"]
[[prop.support]]
material = "carbon-rod"
diameter = "8 mm"
length = "60 mm"
[[prop.move]]
slide = "500 mm"
along = [1, -1, 0]
duration = "0.5 s"
"""
    shot = rig_from_text(text)
    readings = [read_prop(shot, prop) for prop in shot.prop]
    stills = [reading.task.evaluate() for reading in readings]
    motions = [reading.task.move(still) for reading, still in zip(readings, stills, strict=True)]
    found = approaches(shot, readings, stills, motions)[0]
    # Its lower left corner goes along the line x + y = 2 (offset - 5), past the other's corner at (10, 10).
    exact = np.sqrt(2) * (offset_mm - 15)
    return found.gap * 1e3, exact


@pytest.mark.parametrize("gap", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("along", [0.0, 0.13, 0.29])
def test_the_nearest_moment_is_found_between_the_times_looked_at(gap, along):
    """Half a millimetre goes by from one look to the next; what is nearest in between comes out all the same."""
    found, exact = passing(15 + gap / np.sqrt(2), along)
    assert exact == pytest.approx(gap)
    assert found == pytest.approx(exact, abs=0.021)  # the search ends within 0.02 mm
    assert found > 0
