"""A shaped move written as keyframes, read back and computed again."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError
from rigcheck.model import Move, Shot
from rigcheck.motion.keyframes import keyframe_path
from rigcheck.motion.shaping import Shaper
from rigcheck.studies.grading import CAUTION_SHARE, grade
from rigcheck.studies.moves import Travel
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Status
from rigcheck.studies.retime.advice import wobble_words
from rigcheck.studies.retime.results import ExportedKeys, PropRetiming, ShapedMove
from rigcheck.studies.retime.timings import TimingStudy, travelling
from rigcheck.units import parse_quantity, registry

__all__ = ["export_keys"]

Array = NDArray[np.float64]
_Table = tuple[Array, Array, str]


def export_keys(
    shot: Shot,
    result: PropRetiming,
    path: str | Path,
    *,
    rate: str | None = None,
    overwrite: bool = False,
) -> ExportedKeys:
    """Write the shaped move of a prop as keyframes, and check what they do.

    Parameters
    ----------
    shot : Shot
        The one that was retimed.
    result : PropRetiming
        One of its props.
    path : str or Path
        The file; several slides go to files numbered after it.
    rate : str, optional
        Keys a second, for example ``50 fps``; the camera's frame rate where not given.
    overwrite : bool, optional
        Whether files that are there may be replaced.

    Returns
    -------
    ExportedKeys

    Raises
    ------
    ArgumentError
        There is nothing shaped to write, or no rate.
    OutputError
        A file is there already, or cannot be written.

    Notes
    -----
    Shaped with two impulses where that is sure, else with three. Columns ``time_s`` from the slide's own start, and
    ``value`` in the unit of its stroke. Keys only know the move at their times: what the smooth curve through them
    leaves is computed in full from the numbers as written.
    """
    if not result.shaped:
        why = next(
            (note for note in result.notes if "not shaped" in note),
            "none of its slides wobbles, or what else moves does too much.",
        )
        raise ArgumentError(f"export: {result.name} has no shaped move to write: {why}")
    rate_hz = _rate(shot, rate)
    prop = shot.find_prop(result.name)
    reading = read_prop(shot, prop)
    still = reading.task.evaluate()
    planned = result.plan
    assert planned is not None  # it has shaped moves
    wanted = next((move.profile for move in planned.moves if move.profile is not None), None)
    study = TimingStudy(task=reading.task, still=still, moves=travelling(prop), wanted=None)
    course = study.plan
    if wanted is not None and wanted == result.profile:
        course = study.with_profile(wanted)
    limit = result.limit
    shaped = next((move for move in result.shaped if move.timing.wobble_off <= limit), result.shaped[-1])
    tables = [
        _table(travel, move, shaped.shaper, rate_hz) for travel, move in zip(course, study.moves, strict=True)
    ]
    files = _file_names(Path(path), len(tables))
    _write_tables(files, tables, overwrite=overwrite)
    keyed = replace(
        reading.task,
        travels=tuple(
            _as_read(travel, move, table)
            for travel, move, table in zip(course, study.moves, tables, strict=True)
        ),
    )
    grades = grade(still, keyed.move(still), keyed.limits, keyed.eye)
    wobble = float(grades["residual-wobble"].value[0]) * study.scale
    status = Status(str(grades["residual-wobble"].status[0]))
    return ExportedKeys(
        prop=result.name,
        shaped=shaped.name,
        files=files,
        rate_Hz=rate_hz,
        keys=max(len(times) for times, _, _ in tables),
        wobble=wobble,
        unit=study.unit,
        planned=shaped.timing.wobble,
        status=Status.CAUTION if status is Status.PASS and keyed.limits.hazard == "overhead" else status,
        rows=tuple(_row(file, unit) for file, (_, _, unit) in zip(files, tables, strict=True)),
        says=_exported_words(study, shaped, wobble, rate_hz),
    )


def _rate(shot: Shot, rate: str | None) -> float:
    if rate is not None:
        return parse_quantity(rate, "frequency", sign="positive").m_as("Hz")
    camera = shot.camera
    if camera is None or camera.frame_rate is None:
        raise ArgumentError(
            'export: the file has no frame_rate; say how many keys a second, for example --rate "50 fps".'
        )
    return camera.frame_rate.m_as("Hz")


def _table(travel: Travel, move: Move, shaper: Shaper, rate: float) -> _Table:
    """Times from the slide's own start, values in its unit, as they will stand in the file."""
    moved = move.slide
    assert moved is not None  # rolls have no shaped moves
    begin = move.start.m_as("s")
    lead = float(travel.start[0]) - begin  # keys may begin later than the move that names them
    span = float(travel.duration[0]) + shaper.delay
    count = math.ceil((lead + span) * rate - 1e-9)
    if count + 1 > _MOST_KEYS:
        raise ArgumentError(
            f"export: {count + 1} keys would be needed, {_MOST_KEYS} are allowed. Give a lower --rate."
        )
    if count < 3:
        raise ArgumentError(
            f"export: at {rate:g} keys a second the move of {span:.3g} s has only {count + 1}. Give a higher --rate."
        )
    times = np.arange(count + 1) / rate
    value = np.zeros(len(times))
    for delay, amplitude in zip(shaper.times.tolist(), shaper.amplitudes.tolist(), strict=True):
        at = times + begin - delay
        if travel.keys is not None:
            value += amplitude * travel.keys.at(at)[0]
        else:
            assert travel.profile is not None
            unit_time = (at - float(travel.start[0])) / float(travel.duration[0])
            value += amplitude * float(travel.stroke[0]) * travel.profile.displacement(unit_time)
    unit = moved.nominal.units
    scale = registry().Quantity(1.0, "m").m_as(unit)
    written = [float(f"{number:.9g}") for number in value * scale]
    return np.array([float(f"{time:.9g}") for time in times]), np.array(written) + 0.0, f"{unit:~}"


_MOST_KEYS = 1_000_000


def _file_names(path: Path, count: int) -> tuple[Path, ...]:
    if count == 1:
        return (path,)
    return tuple(path.with_name(f"{path.stem}-{number + 1}{path.suffix}") for number in range(count))


def _write_tables(files: tuple[Path, ...], tables: list[_Table], *, overwrite: bool) -> None:
    from rigcheck.errors import OutputError
    from rigcheck.files import write_whole

    for file in files:
        if len(files) > 1 and file.exists() and not overwrite:
            raise OutputError(f"{file} is there already and was not replaced; nothing was written.")
    for file, (times, values, _) in zip(files, tables, strict=True):
        lines = [
            f"{time:.9g},{value:.9g}" for time, value in zip(times.tolist(), values.tolist(), strict=True)
        ]
        write_whole(file, "\n".join(["time_s,value", *lines, ""]), overwrite=overwrite)


def _as_read(travel: Travel, move: Move, table: _Table) -> Travel:
    """The travel that these keys make when the rig file names them."""
    times, values, unit = table
    path = keyframe_path(times + move.start.m_as("s"), values * registry().Quantity(1.0, unit).m_as("m"))
    return replace(
        travel,
        stroke=np.ones(1),
        start=path.times[:1],
        duration=path.times[-1:] - path.times[:1],
        profile=None,
        keys=path,
    )


def _row(file: Path, unit: str) -> str:
    name = file.name.replace("\\", "\\\\").replace('"', '\\"')
    return f'slide = "{unit}", keys = "{name}" (in place of slide, duration, profile and ramp)'


def _exported_words(study: TimingStudy, shaped: ShapedMove, wobble: float, rate: float) -> str:
    before = shaped.timing.wobble
    says = f"Read back at {rate:g} keys a second, they leave {wobble_words(study, wobble)} of wobble."
    if wobble > max(2 * before, CAUTION_SHARE * study.limit * study.scale):
        fastest = max(frequency for frequency, _ in shaped.widths)
        says += (
            f" The shaped move itself leaves {wobble_words(study, before)}: so few keys blunt it."
            f' Give a higher --rate, such as --rate "{max(2 * rate, 10 * fastest):.0f} fps".'
        )
    return says
