"""The sheet for the crew: the check of a shot with everything they need on the day, computed once.

What is drawn is laid out in `side`, `lens` and `picture`; what is cut, clamped, tested and done in which order in
`cuts`, `setup` and `steps`. Views draw all of it and compute nothing.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.model import Move, Prop, Shot
from rigcheck.stock import Datum, Material, source_text
from rigcheck.studies.check import check_of
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import CAUTION_SHARE, NOMINAL_PIXEL, grade
from rigcheck.studies.history import History, response_of
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.reading.supports import stock_material
from rigcheck.studies.results import CheckResult, Figure, Finding, PropResult
from rigcheck.studies.sheet.cuts import (
    Cut,
    SheetBlank,
    SleeveCut,
    Stock,
    blanks,
    cuts,
    sleeve_cuts,
    stock_needed,
)
from rigcheck.studies.sheet.lens import LensView, lens_view
from rigcheck.studies.sheet.picture import FrameView, WobblePath, frame_view, wobble_path
from rigcheck.studies.sheet.setup import (
    ClampNote,
    Counterweight,
    ProofLoad,
    clamp_notes,
    counterweight,
    proof_load,
)
from rigcheck.studies.sheet.side import SideView, side_view
from rigcheck.studies.sheet.steps import SetUp, Step, order_of_work
from rigcheck.studies.words import capitalised, length_words, way_words
from rigcheck.studies.work import Work, works_for

__all__ = ["MoveTrack", "PropPictures", "PropSheet", "SheetResult", "pictures", "sheet"]

Array = NDArray[np.float64]

_TAIL_PERIODS = 6.0
"""Periods of the lowest mode that are shown after the moves; a choice."""
_LONGEST_TAIL = 0.5
"""Most time shown after the moves, as a share of that of the moves; a choice."""
_LEAST_TAIL = 0.25
_TRACK_POINTS = 241
_ROLL_AXES = ("as seen from the right", "as seen from above", "as seen from the camera's side")
"""Where a viewer looks along a roll's axis, for its right, up and toward part."""
_SOURCE = re.compile(r"\b(?:S\d{1,3}[a-z]?|M-[A-Z]{1,4}|M|C|D)\b")


@dataclass(frozen=True, kw_only=True, eq=False)
class MoveTrack:
    """One move of one prop over time.

    Attributes
    ----------
    number : int
        Which, from 1.
    words : str
        What it does, for example ``slides up 180 mm``.
    profile : str
        How it speeds up, or where its keys are.
    start_s, stop_s : float
        [s].
    start_frame, stop_frame : float or None
        The same in frames from time zero; None without a frame rate.
    time_s, value : array, shape (n,)
        Its course, from where it starts, in `unit`.
    unit : str
        ``mm`` or ``deg``.
    """

    number: int
    words: str
    profile: str
    start_s: float
    stop_s: float
    start_frame: float | None
    stop_frame: float | None
    time_s: Array
    value: Array
    unit: str


@dataclass(frozen=True, kw_only=True, eq=False)
class PropPictures:
    """All that a picture of one prop shows.

    Attributes
    ----------
    name : str
        Of the prop.
    side : SideView
        From the side.
    lens : LensView or None
        As the lens sees it; None where nothing settles.
    wobble : WobblePath or None
        Its course in the picture after the moves.
    history : History or None
        Its response over the moves and a little after; None where its course is not known.
    no_history : str
        Why not; empty where there is one.
    moves : tuple of MoveTrack
        Its moves.
    frame_rate : float or None
        [1/s].
    settle_s : float or None
        From the end of the moves to still [s].
    """

    name: str
    side: SideView
    lens: LensView | None
    wobble: WobblePath | None
    history: History | None
    no_history: str
    moves: tuple[MoveTrack, ...]
    frame_rate: float | None
    settle_s: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class PropSheet:
    """One prop of the sheet.

    Attributes
    ----------
    check : PropResult
        Its verdict, figures, findings and assumptions.
    pictures : PropPictures
        What is drawn of it.
    mass_kg : float
        As weighed, without an insert.
    clamps : tuple of ClampNote
        How it is held.
    counterweight : Counterweight or None
        What balances it.
    mount : tuple of str
        How to set the mount off; empty where that cannot be promised.
    proof : ProofLoad
        The test before the take.
    approach, cleanup : tuple of Finding
        How near it comes to others; clean-up against rigging again.
    approach_figures : tuple of Figure
        The distances to each of the others.
    """

    check: PropResult
    pictures: PropPictures
    mass_kg: float
    clamps: tuple[ClampNote, ...]
    counterweight: Counterweight | None
    mount: tuple[str, ...]
    proof: ProofLoad
    approach: tuple[Finding, ...]
    approach_figures: tuple[Figure, ...]
    cleanup: tuple[Finding, ...]
    cleanup_figures: tuple[Figure, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class SheetResult:
    """The sheet of a shot.

    Attributes
    ----------
    check : CheckResult
        Title, verdict and cautions.
    hazard : str
        Who is near: ``clear``, ``hands`` or ``overhead``.
    camera : tuple of (str, str)
        Facts of the camera: label and value.
    frame : FrameView or None
        All props in the picture.
    props : tuple of PropSheet
        In the order of the file.
    cuts, sleeves, blanks, stock
        The cut list, and what to have in hand for it.
    steps : tuple of Step
        The order of work.
    assumptions : tuple of (str, tuple of str)
        Each assumption with the props it is made for, none where for all.
    sources : tuple of (str, str)
        Keys that the sheet names, and what they stand for.
    """

    check: CheckResult
    hazard: str
    camera: tuple[tuple[str, str], ...]
    frame: FrameView | None
    props: tuple[PropSheet, ...]
    cuts: tuple[Cut, ...]
    sleeves: tuple[SleeveCut, ...]
    blanks: tuple[SheetBlank, ...]
    stock: tuple[Stock, ...]
    steps: tuple[Step, ...]
    assumptions: tuple[tuple[str, tuple[str, ...]], ...]
    sources: tuple[tuple[str, str], ...]

    @property
    def cautions(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Every caution once, with the props it is for, none where for all."""
        shared = [(text, ()) for text in dict.fromkeys(self.check.cautions)]
        own = _by_text(
            [
                (prop.check.name, [text for text in prop.check.cautions if text not in self.check.cautions])
                for prop in self.props
            ]
        )
        return (*shared, *own)


def sheet(shot: Shot, *, prop: str | None = None) -> SheetResult:
    """Put the sheet of a shot together.

    Parameters
    ----------
    shot : Shot
        As read from a rig file, or built in Python.
    prop : str, optional
        Name of the only prop to put on it.

    Returns
    -------
    SheetResult

    Raises
    ------
    UnknownNameError
        The shot has no prop of that name.
    """
    computed = works_for(shot, prop)
    result = check_of(shot, computed, prop=prop)
    works = [work for work in computed if prop in (None, work.prop.name)]
    wanted = [work.prop for work in works]
    props = tuple(_prop_sheet(work, found) for work, found in zip(works, result.props, strict=True))
    supports = cuts([(work.prop, work.reading) for work in works])
    sleeves, sheets = sleeve_cuts(wanted), blanks(wanted)
    return SheetResult(
        check=result,
        hazard=shot.limits.hazard,
        camera=_camera(shot),
        frame=frame_view(shot, [(work.prop, work.reading, work.still) for work in works]),
        props=props,
        cuts=supports,
        sleeves=sleeves,
        blanks=sheets,
        stock=stock_needed(supports, sleeves),
        steps=order_of_work(
            [_set_up(shot, *both) for both in zip(props, wanted, strict=True)],
            cuts=supports,
            sleeves=sleeves,
            blanks=sheets,
            hazard=shot.limits.hazard,
            moves=any(one.move for one in wanted),
        ),
        assumptions=_by_text([(one.check.name, one.check.assumptions) for one in props]),
        sources=_sources(shot, wanted, props),
    )


def pictures(works: Sequence[Work], *, prop: str | None = None) -> tuple[PropPictures, ...]:
    """Lay out the pictures of props that are computed, without the rest of the sheet.

    Parameters
    ----------
    works : sequence of Work
        Of `works_for`.
    prop : str, optional
        Name of the only prop to draw.

    Returns
    -------
    tuple of PropPictures
    """
    return tuple(_pictures(work) for work in works if prop in (None, work.prop.name))


# -- one prop --------------------------------------------------------------------------------------------


def _prop_sheet(work: Work, found: PropResult) -> PropSheet:
    shot, prop, still = work.shot, work.prop, work.still
    offsets = next((finding for finding in found.findings if finding.id == "offsets"), None)
    mount: tuple[str, ...] = ()
    if offsets is not None and still.solved[0]:
        mount = offsets.advice or (offsets.says,)
    return PropSheet(
        check=found,
        pictures=_pictures(work),
        mass_kg=prop.mass.m_as("kg"),
        clamps=clamp_notes(prop, still),
        counterweight=counterweight(prop, still),
        mount=mount,
        proof=proof_load(shot, prop, work.reading, still),
        approach=tuple(finding for finding in found.findings if finding.id == "meeting"),
        approach_figures=tuple(figure for figure in found.details if figure.label.startswith("nearest to ")),
        cleanup=tuple(finding for finding in found.findings if finding.id in ("hidden", "cleanup")),
        cleanup_figures=tuple(
            figure for figure in found.details if figure.label in ("clean-up", "support shown, by side")
        ),
    )


def _set_up(shot: Shot, one: PropSheet, given: Prop) -> SetUp:
    return SetUp(
        check=one.check,
        mass_kg=one.mass_kg,
        clamps=one.clamps,
        counterweight=one.counterweight,
        proof=one.proof,
        mount=one.mount,
        takes=shot.limits.takes,
        bent=any(support.path is not None and len(support.path) > 2 for support in given.support),
    )


def _pictures(work: Work) -> PropPictures:
    shot, prop, reading, still, motion = work.shot, work.prop, work.reading, work.still, work.motion
    history, reason = _history(shot, prop, reading, still)
    camera = shot.camera
    rate = None if camera is None or camera.frame_rate is None else camera.frame_rate.m_as("Hz")
    path, settle = None, None
    if motion is not None and history is not None:
        graded = grade(still, motion, reading.task.limits, reading.task.eye)["settle"]
        settle = float(graded.value[0]) if np.isfinite(graded.value[0]) else None
        limit = reading.task.limits.wobble
        seen = motion.residual_px is not None
        scale = 1.0 if seen else NOMINAL_PIXEL * 1e3
        extent = (
            float(motion.residual_px[0])
            if motion.residual_px is not None
            else 1e3 * float(motion.residual[0])
        )
        path = wobble_path(
            still, history, extent=extent, good=CAUTION_SHARE * limit * scale, most=limit * scale
        )
    return PropPictures(
        name=prop.name,
        side=side_view(prop, reading, still, history),
        lens=lens_view(shot, prop, reading, still, history),
        wobble=path,
        history=history,
        no_history=reason,
        moves=_moves(prop, reading, rate),
        frame_rate=rate,
        settle_s=settle,
    )


def _history(shot: Shot, prop: Prop, reading: Reading, still: Outcome) -> tuple[History | None, str]:
    """The response over the moves, or why there is none."""
    if not still.solved[0]:
        return None, "It finds no rest under its own weight, so there is nothing to follow."
    travels = reading.task.travels
    if not travels:
        return None, (
            "Only the peak acceleration of the move is known, so its course cannot be drawn."
            if reading.task.pushes
            else "It does not move."
        )
    if reading.task.pushes:
        return None, "Of one of the moves only the peak acceleration is known, so its course cannot be drawn."
    whole = max(float(one.stop[0]) for one in travels) - min(float(one.start[0]) for one in travels)
    period = 1.0 / float(still.natural_frequency[0].min())
    tail = max(_LEAST_TAIL, min(_TAIL_PERIODS * period, _LONGEST_TAIL * whole))
    tail = max(tail, still.settings.residual_periods * period)
    camera = shot.camera
    rate = None if camera is None or camera.frame_rate is None else camera.frame_rate.m_as("Hz")
    try:
        return response_of(reading, still, name=prop.name, after=tail, frame_rate=rate), ""
    except ValidityError as error:
        return None, capitalised(str(error))


def _moves(prop: Prop, reading: Reading, rate: float | None) -> tuple[MoveTrack, ...]:
    known = [move for move in prop.move if move.kind != "acceleration"]
    tracks = []
    for number, (move, travel) in enumerate(zip(known, reading.task.travels, strict=True), start=1):
        start, stop = float(travel.start[0]), float(travel.stop[0])
        times = np.linspace(start, stop, _TRACK_POINTS)
        left, _, _ = travel.law(0, times)
        unit, scale = ("deg", 180 / np.pi) if travel.rolls else ("mm", 1e3)
        tracks.append(
            MoveTrack(
                number=number,
                words=_move_words(move, float(left[-1] - left[0]) * scale, travel.direction),
                profile=f"keys in {move.keys.name}" if move.keys is not None else move.profile,
                start_s=start,
                stop_s=stop,
                start_frame=None if rate is None else start * rate,
                stop_frame=None if rate is None else stop * rate,
                time_s=times,
                value=(left - left[0]) * scale,
                unit=unit,
            )
        )
    return tuple(tracks)


def _move_words(move: Move, gone: float, direction: Sequence[float]) -> str:
    way = np.array(direction)
    if move.kind == "roll":
        turned = gone if way[int(np.abs(way).argmax())] >= 0 else -gone
        about = _ROLL_AXES[int(np.abs(way).argmax())]
        sense = "counterclockwise" if turned >= 0 else "clockwise"
        return f"rolls {abs(gone):.4g} deg {sense} {about}"
    return f"slides {length_words(gone * 1e-3)} {way_words(way if gone >= 0 else -way)}"


# -- the shot --------------------------------------------------------------------------------------------


def _camera(shot: Shot) -> tuple[tuple[str, str], ...]:
    camera = shot.camera
    if camera is None:
        return ()
    facts = []
    if camera.field_width is not None:
        facts.append(("The frame spans at the prop", str(camera.field_width)))
    if camera.distance is not None:
        facts.append(("Lens to prop", str(camera.distance)))
        facts.append(("Lens", f"{camera.focal_length} on a {camera.sensor_width} sensor"))
    facts.append(("Picture", f"{camera.image_width} px wide"))
    if camera.frame_rate is not None:
        facts.append(("Shot at", str(camera.frame_rate)))
    if camera.playback_rate is not None:
        facts.append(("Shown at", str(camera.playback_rate)))
    facts.append(("Shutter", str(camera.shutter_angle)))
    facts.append(("Looks down by", str(camera.elevation)))
    return tuple(facts)


def _by_text(said: Sequence[tuple[str, Sequence[str]]]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Every text once, with the names of those who said it; none where all did."""
    names: dict[str, list[str]] = {}
    for name, texts in said:
        for text in texts:
            if name not in names.setdefault(text, []):
                names[text].append(name)
    return tuple((text, () if len(owners) == len(said) else tuple(owners)) for text, owners in names.items())


def _sources(shot: Shot, props: Sequence[Prop], sheets: Sequence[PropSheet]) -> tuple[tuple[str, str], ...]:
    """What the source keys in the notes and assumptions stand for, and those of the materials themselves."""
    keys: list[str] = []
    for one in sheets:
        for figure in one.check.details:
            keys += _SOURCE.findall(figure.note)
    for one_given in props:
        for support in one_given.support:
            material = stock_material(shot, support.material)
            keys += [key for datum in _data(material) for key in datum.source]
    known = []
    for key in dict.fromkeys(keys):
        try:
            known.append((key, source_text(key)))
        except KeyError:
            continue
    return tuple(sorted(known, key=lambda pair: (pair[0][0] != "S", len(pair[0]), pair[0])))


def _data(material: Material) -> list[Datum]:
    return [value for value in vars(material).values() if isinstance(value, Datum)]
