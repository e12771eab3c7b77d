"""The result of a check as JSON: the form ``rigcheck-check/1``.

Units stand in the last part of each key, vectors are right, up, toward, and what is absent is null, never 0.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rigcheck.studies.results import (
        CheckResult,
        Figure,
        Finding,
        Influence,
        Mode,
        MotionResult,
        PropResult,
        StaticResult,
    )

__all__ = ["check_json", "dump", "figure_json", "plain_number"]

_FORMAT = "rigcheck-check/1"
_DIGITS = 12  # significant digits: more than any input has, fewer than the rounding noise of the arithmetic


def check_json(result: CheckResult) -> dict[str, Any]:
    """Turn the result of a check into plain dicts, lists, strings and numbers.

    Parameters
    ----------
    result : CheckResult
        What the check handed back.

    Returns
    -------
    dict
        Ready for `dump`. Floats are rounded to 12 significant digits. A number that is not finite is absent,
        so null; an open end of a range is null.
    """
    return {
        "format": _FORMAT,
        "title": result.title,
        "verdict": result.verdict.value,
        "props": [_prop(prop) for prop in result.props],
    }


def dump(obj: Mapping[str, Any]) -> str:
    r"""Write JSON that is safe to print: letters stay letters, control and invisible characters are escaped.

    Parameters
    ----------
    obj : mapping
        Plain values only.

    Returns
    -------
    str
        JSON, indented by one, without a final newline.

    Raises
    ------
    ValueError
        A number is NaN or infinite.

    Examples
    --------
    >>> print(dump({"title": "Étui \x9b31m"}))
    {
     "title": "Étui \u009b31m"
    }
    """
    import json  # only where JSON is wanted

    text = json.dumps(obj, allow_nan=False, ensure_ascii=False, indent=1)
    if text.isascii() and "\x7f" not in text:
        return text
    # json leaves DEL, the C1 controls and direction overrides as they are, and a terminal would obey them.
    return "".join(
        json.dumps(letter)[1:-1]
        if letter != "\n" and unicodedata.category(letter) in {"Cc", "Cf", "Cs"}
        else letter
        for letter in text
    )


def _prop(prop: PropResult) -> dict[str, Any]:
    return {
        "name": prop.name,
        "verdict": prop.verdict.value,
        "static": None if prop.static is None else _static(prop.static),
        "modes": [_mode(mode) for mode in prop.modes],
        "motion": None if prop.motion is None else _motion(prop.motion),
        "ranges": {key: [plain_number(low), plain_number(high)] for key, (low, high) in prop.ranges.items()}
        or None,
        "chance_of_pass": plain_number(prop.chance_of_pass),
        "findings": [_finding(finding) for finding in prop.findings],
        "assumptions": list(prop.assumptions),
        "cautions": list(prop.cautions),
        "to_be_surer": None if prop.surer is None else _influence(prop.surer),
        "influences": [_influence(item) for item in prop.influences] or None,
        "figures": [figure_json(figure) for figure in prop.details],
    }


def _influence(item: Influence) -> dict[str, Any]:
    return {
        "figure": item.figure,
        "input": item.label,
        "share": plain_number(item.share),
        "measure": item.measure,
    }


def _static(static: StaticResult) -> dict[str, Any]:
    return {
        "method": static.method,
        "sag_mm": plain_number(static.sag_mm),
        "prop_displacement_mm": _floats(static.prop_displacement_mm),
        "prop_rotation_deg": _floats(static.prop_rotation_deg),
        "tip_displacement_mm": _floats(static.tip_displacement_mm),
        "root_moment_N_m": plain_number(static.root_moment_N_m),
        "peak_stress_MPa": plain_number(static.peak_stress_MPa),
        "yield_factor": plain_number(static.yield_factor),
        "set_mm": plain_number(static.set_mm),
        "buckling_factor": plain_number(static.buckling_factor),
    }


def _mode(mode: Mode) -> dict[str, Any]:
    return {
        "frequency_Hz": plain_number(mode.frequency_Hz),
        "damping_ratio": plain_number(mode.damping_ratio),
        "direction": _floats(mode.direction),
        "kind": mode.kind,
        "wobble_share": plain_number(mode.wobble_share),
        "lag_share": plain_number(mode.lag_share),
    }


def _motion(motion: MotionResult) -> dict[str, Any]:
    return {
        "peak_deviation_mm": plain_number(motion.peak_deviation_mm),
        "residual_wobble_mm": plain_number(motion.residual_wobble_mm),
        "residual_wobble_px": plain_number(motion.residual_wobble_px),
        "settle_s": plain_number(motion.settle_s),
        "seen_frequency_Hz": plain_number(motion.seen_frequency_Hz),
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "id": finding.id,
        "status": finding.status.value,
        "value": plain_number(finding.value),
        "limit": plain_number(finding.limit),
        "unit": finding.unit or None,
        "says": finding.says,
        "advice": list(finding.advice),
        "chance": plain_number(finding.chance_of_pass),
    }


def figure_json(figure: Figure) -> dict[str, str | None]:
    """A further figure as it stands in any JSON of the program.

    Parameters
    ----------
    figure : Figure
        With its unit already in its value.

    Returns
    -------
    dict
        ``label``, ``value`` and ``note``, which may be null.
    """
    return {"label": figure.label, "value": figure.value, "note": figure.note or None}


def _floats(values: Iterable[float]) -> list[float] | None:
    """A vector of which one entry is not finite says nothing as a whole."""
    rounded = [number for number in map(plain_number, values) if number is not None]
    return rounded if len(rounded) == 3 else None


def plain_number(value: float | None) -> float | None:
    """A number as it stands in any JSON of the program.

    Parameters
    ----------
    value : float or None
        Of any number type.

    Returns
    -------
    float or None
        With 12 significant digits; None for what is absent or not finite, and never -0.0.

    Examples
    --------
    >>> plain_number(0.1 + 0.2), plain_number(-0.0), plain_number(float("nan"))
    (0.3, 0.0, None)
    """
    if value is None or not math.isfinite(value):
        return None
    return float(f"{float(value):.{_DIGITS - 1}e}") + 0.0
