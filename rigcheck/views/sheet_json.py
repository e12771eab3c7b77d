"""The sheet as JSON: the form ``rigcheck-sheet/1``. It holds the check and all that the page shows beside it.

Units stand in the last part of each key; what is absent is null. Drawings are lists of places, right and up.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from rigcheck.views.as_json import check_json, figure_json, plain_number

if TYPE_CHECKING:
    from rigcheck.studies.results import Finding
    from rigcheck.studies.sheet.cuts import Bend, Cut
    from rigcheck.studies.sheet.side import Body
    from rigcheck.studies.sheet.strokes import Stroke
    from rigcheck.studies.sheet.study import PropSheet, SheetResult

__all__ = ["sheet_json"]

_FORMAT = "rigcheck-sheet/1"
_PLACE_DIGITS = 6  # of a place in a drawing


def sheet_json(result: SheetResult) -> dict[str, Any]:
    """Turn the sheet into plain dicts, lists, strings and numbers.

    Parameters
    ----------
    result : SheetResult
        What the study handed back.

    Returns
    -------
    dict
        Ready for `rigcheck.views.as_json.dump`.
    """
    return {
        "format": _FORMAT,
        "title": result.check.title,
        "verdict": result.check.verdict.value,
        "hazard": result.hazard,
        "cautions": [{"says": text, "props": list(names)} for text, names in result.cautions],
        "check": check_json(result.check),
        "camera": [{"label": label, "value": value} for label, value in result.camera],
        "cuts": [_cut(cut) for cut in result.cuts],
        "sleeves": [
            {
                "props": list(cut.prop),
                "material": cut.material,
                "diameter": cut.diameter,
                "wall": cut.wall,
                "count": cut.count,
                "length_mm": plain_number(cut.length_mm),
                "start_mm": plain_number(cut.start_mm),
                "end_mm": plain_number(cut.start_mm + cut.length_mm),
            }
            for cut in result.sleeves
        ],
        "blanks": [
            {
                "props": list(cut.prop),
                "material": cut.material,
                "thickness": cut.thickness,
                "count": cut.count,
                "along_support_mm": plain_number(cut.along_mm),
                "across_support_mm": plain_number(cut.across_mm),
                "grain": cut.grain,
            }
            for cut in result.blanks
        ],
        "stock": [
            {
                "what": one.what,
                "pieces": one.pieces,
                "longest_mm": plain_number(one.longest_mm),
                "total_mm": plain_number(one.total_mm),
                "at_least": one.at_least,
            }
            for one in result.stock
        ],
        "steps": [{"title": step.title, "details": list(step.details)} for step in result.steps],
        "props": [_prop(one) for one in result.props],
        "assumptions": [{"says": text, "props": list(names)} for text, names in result.assumptions],
        "sources": [{"key": key, "text": text} for key, text in result.sources],
    }


def _cut(cut: Cut) -> dict[str, Any]:
    return {
        "props": list(cut.prop),
        "material": cut.material,
        "section": cut.section,
        "size": cut.size,
        "count": cut.count,
        "length_mm": plain_number(cut.length_mm),
        "free_mm": plain_number(cut.free_mm),
        "grip_mm": plain_number(cut.grip_mm),
        "embed_mm": plain_number(cut.embed_mm),
        "tied": cut.tied,
        "bends": [_bend(bend) for bend in cut.bends],
    }


def _bend(bend: Bend) -> dict[str, Any]:
    return {
        "at_mm": plain_number(bend.at_mm),
        "angle_deg": plain_number(bend.angle_deg),
        "toward": bend.toward,
        "twist_deg": plain_number(bend.twist_deg),
    }


def _prop(one: PropSheet) -> dict[str, Any]:
    shown, weight = one.pictures, one.counterweight
    return {
        "name": one.check.name,
        "verdict": one.check.verdict.value,
        "mass_kg": plain_number(one.mass_kg),
        "moves": [
            {
                "number": move.number,
                "says": move.words,
                "profile": move.profile,
                "start_s": plain_number(move.start_s),
                "end_s": plain_number(move.stop_s),
                "start_frame": plain_number(move.start_frame),
                "end_frame": plain_number(move.stop_frame),
            }
            for move in shown.moves
        ],
        "settle_s": plain_number(shown.settle_s),
        "mount": list(one.mount),
        "clamps": [
            {
                "support": note.support,
                "clamp": note.clamp,
                "grip_mm": plain_number(note.grip_mm),
                "least_grip_mm": plain_number(note.least_grip_mm),
                "moment_N_m": plain_number(note.moment_N_m),
                "force_N": plain_number(note.force_N),
            }
            for note in one.clamps
        ],
        "counterweight": None
        if weight is None
        else {
            "moment_N_m": plain_number(weight.moment_N_m),
            "hanging_kg": plain_number(weight.hanging_kg),
            "payload_kg": plain_number(weight.payload_kg),
            "side": weight.side or None,
            "choices": [
                {"arm_mm": plain_number(arm), "mass_g": plain_number(mass)} for arm, mass in weight.choices
            ],
            "says": weight.says,
        },
        "proof_load": {
            "factor": plain_number(one.proof.factor),
            "load_kg": plain_number(one.proof.load_kg),
            "hold_min": plain_number(one.proof.hold_min),
            "safe": one.proof.safe,
            "extra_sag_mm": plain_number(one.proof.extra_mm),
            "strength_factor": plain_number(one.proof.strength_factor),
            "set_mm": plain_number(one.proof.set_mm),
            "says": one.proof.says if one.proof.safe else None,
            "expect": one.proof.expect,
            "source": one.proof.source,
        },
        "approach": [*map(_finding, one.approach), *map(figure_json, one.approach_figures)],
        "cleanup": [*map(_finding, one.cleanup), *map(figure_json, one.cleanup_figures)],
        "side_view": {
            "seen_from": shown.side.seen_from,
            "unloaded": _body(shown.side.unloaded),
            "settled": None if shown.side.settled is None else _body(shown.side.settled),
            "settled_times": plain_number(shown.side.settled_times),
            "wobble_ends": [_body(body) for body in shown.side.swings],
            "wobble_times": plain_number(shown.side.wobble_times),
        },
        "lens_view": None
        if shown.lens is None
        else {
            "camera": shown.lens.camera,
            "outline_mm": _places(shown.lens.outline),
            "shown": [_stroke(stroke) for stroke in shown.lens.shown],
            "hidden": [_stroke(stroke) for stroke in shown.lens.hidden],
            "pixel_mm": plain_number(shown.lens.pixel),
        },
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {"id": finding.id, "status": finding.status.value, "says": finding.says}


def _body(body: Body) -> dict[str, Any]:
    return {
        "outline_mm": _places(body.outline),
        "insert_mm": _places(body.insert),
        "strokes": [_stroke(stroke) for stroke in body.strokes],
        "centre_of_mass_mm": _places(body.centre[None])[0],  # type: ignore[index]
    }


def _stroke(stroke: Stroke) -> dict[str, Any]:
    return {"kind": stroke.kind, "width_mm": plain_number(stroke.width), "points_mm": _places(stroke.points)}


def _places(points: Iterable[Iterable[float]] | None) -> list[list[float]] | None:
    if points is None:
        return None
    return [
        [float(f"{float(value):.{_PLACE_DIGITS - 1}e}") + 0.0 for value in np.asarray(place)]
        for place in points
    ]
