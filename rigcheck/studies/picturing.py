"""What the camera sees of one prop: how its wobble looks, how far it blurs, and whether its support shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.model import Camera as FilmCamera
from rigcheck.model import Shot
from rigcheck.motion.response import free_decay
from rigcheck.picture.wobble import (
    blur_length,
    exposure_time,
    lookalike_frequencies,
    seen_frequency,
    seen_wobble,
)
from rigcheck.studies.carried import Carried
from rigcheck.studies.cleaning_up import weigh_cleanup
from rigcheck.studies.contributions import Said, skipped
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.eye import Eye
from rigcheck.studies.grading import CAUTION_SHARE
from rigcheck.studies.hiding import HIDDEN_LABEL, hidden_support, whether_hidden
from rigcheck.studies.mode_words import direction_words
from rigcheck.studies.moves import is_turning
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.picture_frames import Frames, frames_of
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.swinging import swing
from rigcheck.studies.words import capitalised, length_words, listed, share_words
from rigcheck.studies.work import Work

if TYPE_CHECKING:
    from rigcheck.picture.projection import Camera

__all__ = ["STILL", "picturing"]

Array = NDArray[np.float64]

STILL = 0.01
"""Wobble below which nothing is said of how it looks [px]: a choice."""
_RING_SAMPLES = 33


def picturing(work: Work, *, for_verdict: bool = False) -> Contribution:
    """Say what the camera sees of a prop.

    Parameters
    ----------
    work : Work
        One prop computed.
    for_verdict : bool
        Leave out what no verdict depends on: figures, and from which side less would show.

    Returns
    -------
    Contribution
        Finding ``hidden``; ``false-frequency`` where a wobble that shows is faster than the frames can follow;
        ``cleanup`` where ``[post]`` gives a rate and what else it would cost. Figures on wobble and blur.
    """
    shot, eye = work.shot, work.reading.task.eye
    said = Said()
    if eye is None or shot.camera is None:
        said.findings.append(skipped("hidden", HIDDEN_LABEL, "No [camera] is given."))
    elif not work.solved:
        said.findings.append(skipped("hidden", HIDDEN_LABEL, "There is no settled state to judge it by."))
    else:
        body = work.body
        try:
            if work.motion is not None:
                _wobble(shot, work.reading, work.still, work.motion, eye, said, for_verdict=for_verdict)
            # With a lens all is looked at in any case: a prop that comes beside it cannot be judged.
            brief = for_verdict and eye.camera.distance is None
            if brief and shot.post is None:
                said.findings.append(whether_hidden(shot, body, eye.camera))
                return said.contribution()
            frames = frames_of(shot, body)
            if body.travels and not brief:
                _course(shot, body, eye.camera, frames, said)
            shown = hidden_support(work.prop, body, eye.camera, frames, said, for_verdict=for_verdict)
        except ValidityError as error:
            said.findings.append(skipped("hidden", HIDDEN_LABEL, capitalised(str(error))))
            shown = None
        weigh_cleanup(shot, shown, said)
    if shot.camera is None and shot.post is not None:
        weigh_cleanup(shot, None, said)
    return said.contribution()


def _wobble(
    shot: Shot,
    reading: Reading,
    still: Outcome,
    motion: MotionOutcome,
    eye: Eye,
    said: Said,
    *,
    for_verdict: bool,
) -> None:
    """How the wobble after the move looks: its direction, its rate on screen, its blur."""
    camera = shot.camera
    assert camera is not None  # there is an eye
    assert motion.residual_px is not None
    extent = float(motion.residual_px[0])
    if extent < STILL:
        said.figures.append(Figure(label="wobble in the picture", value=f"under {STILL:g} px"))
        return
    if not for_verdict:
        way = _picture_way(reading, still, eye)
        said.figures.append(
            Figure(
                label="wobble in the picture",
                value=f"{extent:.3g} px, {direction_words(way)}",
                note=(
                    "peak to peak after the moves, in its widest direction"
                    if eye.growth is None
                    else "peak to peak after the moves, at the farthest point of its outline"
                ),
            )
        )
    if camera.frame_rate is None:
        return
    rate = camera.frame_rate.m_as("Hz")
    shown = rate if camera.playback_rate is None else camera.playback_rate.m_as("Hz")
    size = eye.sizes(motion.amplitudes[0].T)
    true = float(motion.angular_frequency[0, int(size.argmax())]) / (2 * np.pi)
    on_screen, folded = seen_frequency(true, rate, shown)
    seen, is_false = float(on_screen), bool(folded)
    if not for_verdict:
        said.figures += _on_screen(camera, rate, shown, true, seen, extent, is_false=is_false)
    if is_false and extent >= CAUTION_SHARE * reading.task.limits.wobble:
        enough = 10 * int(np.ceil(2.5 * true / 10))
        said.findings.append(
            Finding(
                id="false-frequency",
                label="rate of the wobble on screen",
                status=Status.CAUTION,
                value=true,
                limit=rate / 2,
                unit="Hz",
                says=(
                    f"On screen it seems to swing at {seen:.3g} Hz, which is false: these frames cannot follow"
                    f" {true:.3g} Hz."
                ),
                advice=(f"Film a test at {enough} fps or more, where it shows as it is.",),
            )
        )


def _on_screen(
    camera: FilmCamera, rate: float, shown: float, true: float, seen: float, extent: float, *, is_false: bool
) -> list[Figure]:
    """How a wobble of a true frequency [Hz] and extent [px] looks, filmed at one rate and shown at another [1/s]."""
    figures: list[Figure] = []
    speed = "at its own speed" if shown == rate else f"at {shown / rate:.3g} of its speed"
    figures.append(
        Figure(
            label="seen on playback",
            value=f"{seen:.3g} Hz",
            note=f"a false rate: {true:.3g} Hz on set is faster than half of {rate:g} frames a second"
            if is_false
            else f"{true:.3g} Hz on set, shown {speed}",
        )
    )
    alike = lookalike_frequencies(min(seen, shown / 2), rate, shown, highest=2 * rate)
    others = [f"{value:.3g}" for value in alike if abs(value - true) > 1e-6 * rate]
    if others:
        figures.append(
            Figure(
                label="would look the same",
                value=f"{listed(others)} Hz",
                note=f"true rates up to {2 * rate:g} Hz that these frames cannot tell from it",
            )
        )
    shutter = camera.shutter_angle.m_as("rad")
    rates = np.array([rate, 2 * rate, rate / 2])
    looks = seen_wobble(
        true,
        extent,
        frame_rate=rates,
        shutter_angle=shutter,
        playback_rate=rates if camera.playback_rate is None else shown,
    )
    figures.append(
        Figure(
            label="blur of the wobble",
            value=f"{float(looks.blur[0]):.3g} px",
            note=f"in the frame that catches it fastest, open for {_exposure_words(shutter, rate)}",
        )
    )
    for at in (1, 2):
        frequency = f"{float(looks.frequency[at]):.3g} Hz{', false' if looks.aliased[at] else ''}"
        figures.append(
            Figure(
                label=f"the same at {rates[at]:g} fps",
                value=f"{frequency}, {float(looks.extent[at]):.3g} px from frame to frame,"
                f" blur {float(looks.blur[at]):.3g} px",
                note="shown as shot" if camera.playback_rate is None else f"shown at {shown:g} fps",
            )
        )
    return figures


def _picture_way(reading: Reading, still: Outcome, eye: Eye) -> Array:
    """Right, up and nearer: the direction in which it swings most in the picture after the moves."""
    seen = np.concatenate([eye.jacobian, np.zeros((1, 3)) if eye.growth is None else eye.growth[None]])
    ring = swing(reading, still)
    if ring is None:
        # Only the peak is known: it swings along where a steady push would take it.
        ways = np.array([push.direction for push in reading.task.pushes])
        ways = ways if len(ways) else np.array([travel.direction for travel in reading.task.travels])
        pushed = still.dynamics.follow[0, :3, :3] @ ways.T
        places = (seen @ pushed).T
    else:
        times = np.linspace(0.0, 4 * np.pi / ring.angular_frequency.min(), _RING_SAMPLES)
        course, _ = free_decay(
            ring.value,
            ring.rate,
            angular_frequency=ring.angular_frequency,
            damping_ratio=float(still.rig.damping_ratio[0]),
            times=times,
        )
        places = (seen @ ring.shape @ course).T
    # The principal axis of the places, which lie about the settled one.
    return np.asarray(np.linalg.svd(places)[2][0])


def _exposure_words(shutter: float, rate: float) -> str:
    return f"{float(exposure_time(shutter, rate)) * 1e3:.3g} ms"


def _course(shot: Shot, body: Carried, camera: Camera, frames: Frames, said: Said) -> None:
    """Blur at top speed, and how much larger or smaller the prop gets in the picture."""
    times, rotation, position = frames.course, frames.course_rotation, frames.course_position
    middle = body.middles(rotation, position)
    given = shot.camera
    if given is not None and given.frame_rate is not None:
        rate, shutter = given.frame_rate.m_as("Hz"), given.shutter_angle.m_as("rad")
        spots = middle[None]
        if body.shape is not None and (is_turning(body.travels) or camera.distance is not None):
            signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
            rim = (0.5 * body.size * signs) @ body.orientation.T
            spots = middle + np.einsum("nij,kj->kni", rotation, rim)
        speed = np.diff(camera.project(spots), axis=1) / np.diff(times)[:, None]
        exposure = float(exposure_time(shutter, rate))
        blur = blur_length(speed, exposure)
        said.figures.append(
            Figure(
                label="blur at top speed",
                value=f"{float(blur.max()):.3g} px",
                note=f"{float(blur.max()) / exposure:.3g} px/s, open for {_exposure_words(shutter, rate)}",
            )
        )
    if camera.distance is not None:
        scale = camera.pixels_per_metre_at(middle)
        change = float(scale[0] / scale[-1]) - 1
        if abs(change) >= 1e-3:
            way = float((middle[-1] - middle[0]) @ camera.toward)
            said.figures.append(
                Figure(
                    label="size in the picture",
                    value=f"starts {share_words(abs(change), places=2)} {'larger' if change > 0 else 'smaller'}"
                    " than it ends",
                    note=f"it goes {length_words(way)} {'toward' if way > 0 else 'away from'} the lens",
                )
            )
