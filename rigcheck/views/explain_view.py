"""An explained take in the terminal and as JSON: what wobbles, why, what to do next."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rich.text import Text

from rigcheck.views.as_json import plain_number
from rigcheck.views.format import amount, between, chance, number, printable_or
from rigcheck.views.wrapped import WrappedPage

if TYPE_CHECKING:
    from pathlib import Path

    from rich.console import Console

    from rigcheck.studies.explain.results import Cause, ExplainResult, Implied, Seen

__all__ = ["explain_json", "render_explain"]

_FORMAT = "rigcheck-explain/1"
_BAR = 10
_NARROW = 76  # under it the bars are left out
_MOST_SHOWN = 4
"""Swings, and causes, that are shown without details."""


def render_explain(
    console: Console, result: ExplainResult, *, details: bool = False, saved: Path | None = None
) -> None:
    """Print what wobbles, why, and what to do next.

    Parameters
    ----------
    console : rich.console.Console
        Where to print; its width, colours and encoding are respected.
    result : ExplainResult
        What the study handed back.
    details : bool
        Every swing and cause, how the order was chosen, what was assumed and noted.
    saved : Path, optional
        The file that the fitted rig was written to.
    """
    page = WrappedPage(console)
    of = ", ".join(part for part in (result.prop, result.title) if part)
    page.heading(f"What wobbles: {result.take or 'a bench test'}{f' ({of})' if of else ''}")
    shown = result.components if details else result.components[:_MOST_SHOWN]
    page.bullets(_swing(one, result.unit, details=details) for one in shown)
    _more(page, len(result.components) - len(shown), "smaller swing")
    if result.take and not result.components:
        page.write("Nothing that can be told from noise and drift.", hang=2)
    page.bullets(
        f"The background moves too: {_swing(one, result.unit, details=details)}"
        for one in result.background[:2]
    )
    _wobbles(page, result)
    page.blank()
    page.write(page.text(result.next_step, "bold"), first=page.text("Do: ", "bold"), hang=4)
    if result.causes:
        page.blank()
        _causes(page, result.causes, details=details)
    if details:
        _details(page, result)
    if result.fitted is not None and saved is not None:
        page.blank()
        page.heading(f"Written to {saved}")
        page.bullets(result.fitted.says)
    if result.notes:
        page.blank()
        page.heading("Good to know")
        page.bullets(result.notes)
    page.blank()
    page.heading("Cautions")
    page.bullets(result.cautions)
    if not details:
        page.blank()
        page.write("All causes with their tests and cures, and what was assumed: add --details.")
    page.print()


def _more(page: WrappedPage, count: int, what: str) -> None:
    if count > 0:
        page.write(f"and {count} {what}{'' if count == 1 else 's'}", hang=2)


def _swing(one: Seen, unit: str, *, details: bool) -> str:
    """One swing in a sentence: the frequency and what it is, how far, how long, each with its range."""
    what = one.what or one.direction_words
    way = "" if what.endswith(one.direction_words) else f", seen {one.direction_words}"
    text = (
        f"{_give_or_take(one.frequency_Hz, *one.frequency_range_Hz, 'Hz')}, {what}{way}:"
        f" {_give_or_take(one.amplitude, *one.amplitude_range, unit)} to either side"
    )
    low, high = (number(end, digits=2) for end in one.damping_range)
    damped = f"damping {number(one.damping_ratio, digits=2)} ({low} to {high})"
    if one.cycles < 2.0:
        text += ", too few swings in view to tell its damping"
    elif one.to_a_tenth_s is None:
        text += f", {damped}: it does not die down in view"
    else:
        text += f", {damped}: down to a tenth in {number(one.to_a_tenth_s, digits=2)} s"
    if details:
        others = ", ".join(number(value) for value in one.aliases_Hz[:3])
        text += f"; {number(one.cycles, digits=2)} swings in view; {others} Hz would look the same"
    return text


def _give_or_take(value: float, low: float, high: float, unit: str) -> str:
    """A value with half its range, both to the place that the range bears out; never finer than 1 in 10,000."""
    half = max(0.5 * (high - low), 1e-4 * abs(value))
    if not (half > 0 and math.isfinite(half)):
        return amount(value, unit)
    places = max(0, -math.floor(math.log10(half)))
    return f"{value:.{places}f} ± {half:.{places}f} {unit}"


def _wobbles(page: WrappedPage, result: ExplainResult) -> None:
    """Wobble peak to peak: seen, predicted by the file, and with the likeliest cause before and after its cure."""
    unit = result.predicted_unit
    rows = []
    if result.seen is not None:
        rows.append(("seen after the tap" if result.tapped else "seen in the take", result.seen, result.unit))
    if result.predicted is not None:
        rows.append(("by the file, after its move", result.predicted, unit))
    first = result.causes[0] if result.causes else None
    if first is not None and first.predicted is not None:
        rows.append(("with the likeliest cause", first.predicted, unit))
        if first.after is not None:
            rows.append(("with that put right", first.after, unit))
    if not rows:
        return
    limit = "" if result.limit is None else f", limit {amount(result.limit, unit)}"
    page.write(f"Wobble, peak to peak{limit}", hang=2)
    column = 6 + max(len(words) for words, _, _ in rows)
    for words, value, of in rows:
        page.write(amount(value, of), first=Text(f"    {words}  "), hang=column)


def _causes(page: WrappedPage, causes: tuple[Cause, ...], *, details: bool) -> None:
    """The likeliest first, each with its chance; what it takes, its test and its cure of the first, or of all."""
    page.heading("Likeliest causes")
    bar = printable_or("█", "#", encoding=page.encoding)
    shown = causes if details else causes[:_MOST_SHOWN]
    for place, cause in enumerate(shown):
        bars = f" {bar * max(1, round(_BAR * cause.chance)):<{_BAR}}" if page.measure >= _NARROW else ""
        first = f"{chance(cause.chance):>9}{bars}  "
        page.write(cause.says, first=Text(first), hang=len(first))
        if place == 0 or details:
            for label, text in _about(cause):
                page.write(text, first=Text(f"{'':11}{label:<10}"), hang=21)
    _more(page, len(causes) - len(shown), "less likely cause")


def _about(cause: Cause) -> list[tuple[str, str]]:
    rows = [] if cause.implied is None else [("It takes:", _implied(cause.implied))]
    rows.append(("Test:", cause.test))
    if cause.cure:
        rows.append(("Cure:", f"{cause.cure}{'' if cause.cure.endswith('.') else '.'}"))
    return rows


def _implied(value: Implied) -> str:
    if value.value is None:
        took = f"{value.what} {value.name}".strip()
    else:
        took = f"{value.what} {amount(value.value, value.unit)}"
        if value.low is not None and value.high is not None:
            took += f" ({between(value.low, value.high)})"
        if value.given is not None:
            took += f", given {amount(value.given, value.unit)}"
    return f"{took}. {'Plausible' if value.plausible else 'Hardly plausible'}: {value.says}."


def _details(page: WrappedPage, result: ExplainResult) -> None:
    page.blank()
    if result.cures:
        page.heading("Changes that still the rig as fitted, each computed in full")
        page.bullets(result.cures)
    if result.fitted is not None:
        page.heading("What the take has measured (--save NEWFILE writes it to a new rig file)")
        page.bullets(result.fitted.says or ("nothing that a rig file has a place for",))
    if result.part_s is not None and result.noise is not None:
        page.heading("How it was found")
        part = (
            f"From {result.part_s[0]:.2f} to {result.part_s[1]:.2f} s of the take at"
            f" {number(result.frame_rate_Hz or 0.0, digits=4)} frames a second; noise of a frame"
            f" {amount(result.noise, result.unit)}."
        )
        page.bullets((part, result.order_criterion))
    page.heading("Assumed")
    page.bullets(result.assumptions)


# -- JSON -----------------------------------------------------------------------------------------------


def explain_json(result: ExplainResult, *, saved: Path | None = None) -> dict[str, Any]:
    """Turn the explanation into plain values.

    Parameters
    ----------
    result : ExplainResult
        What the study handed back.
    saved : Path, optional
        The file that the fitted rig was written to.

    Returns
    -------
    dict
        Form ``rigcheck-explain/1``: ``components`` largest first and ``causes`` best first; absent is None.
    """
    return {
        "format": _FORMAT,
        "take": result.take or None,
        "title": result.title or None,
        "prop": result.prop or None,
        "next_step": result.next_step,
        "components": [_component(one, result.unit) for one in result.components],
        "background": [_component(one, result.unit) for one in result.background],
        "causes": [_cause_json(one) for one in result.causes],
        "cures": list(result.cures),
        "wobble": {
            "unit": result.unit,
            "seen": plain_number(result.seen),
            "predicted": plain_number(result.predicted),
            "predicted_unit": result.predicted_unit or None,
            "limit": plain_number(result.limit),
        },
        "fitted": None
        if result.fitted is None
        else {
            "changes": [
                {"key": one.key, "support": one.support, "value": _plain(one.value)}
                for one in result.fitted.changes
            ],
            "says": list(result.fitted.says),
            "saved": None if saved is None else str(saved),
        },
        "frame_rate_Hz": plain_number(result.frame_rate_Hz),
        "part_s": None if result.part_s is None else [plain_number(value) for value in result.part_s],
        "noise": plain_number(result.noise),
        "order_criterion": result.order_criterion or None,
        "notes": list(result.notes),
        "assumptions": list(result.assumptions),
        "cautions": list(result.cautions),
    }


def _component(one: Seen, unit: str) -> dict[str, Any]:
    return {
        "frequency_Hz": plain_number(one.frequency_Hz),
        "frequency_range_Hz": [plain_number(value) for value in one.frequency_range_Hz],
        "damping_ratio": plain_number(one.damping_ratio),
        "damping_range": [plain_number(value) for value in one.damping_range],
        "amplitude_px": plain_number(one.amplitude_px),
        "amplitude_mm": plain_number(one.amplitude_mm),
        f"amplitude_range_{unit}": [plain_number(value) for value in one.amplitude_range],
        "direction": [plain_number(value) for value in one.direction],
        "cycles": plain_number(one.cycles),
        "to_a_tenth_s": plain_number(one.to_a_tenth_s),
        "aliases_Hz": [plain_number(value) for value in one.aliases_Hz],
        "what": one.what or None,
    }


def _cause_json(one: Cause) -> dict[str, Any]:
    implied = one.implied
    return {
        "id": one.id,
        "chance": plain_number(one.chance),
        "says": one.says,
        "implied": None
        if implied is None
        else {
            "what": implied.what,
            "value": plain_number(implied.value),
            "range": None
            if implied.low is None or implied.high is None
            else [plain_number(implied.low), plain_number(implied.high)],
            "given": plain_number(implied.given),
            "unit": implied.unit or None,
            "name": implied.name or None,
            "plausible": implied.plausible,
            "says": implied.says,
        },
        "test": one.test,
        "cure": one.cure,
        "predicted_wobble": plain_number(one.predicted),
        "wobble_after_cure": plain_number(one.after),
    }


def _plain(value: float | str | tuple[float, ...]) -> Any:
    if isinstance(value, str):
        return value
    return [plain_number(part) for part in value] if isinstance(value, tuple) else plain_number(value)
