"""The package for use from Python: load a rig, ask the questions, take the results on as plain data.

`import rigcheck` gives all of this; each part is imported when it is first used. Quantities go in and come out in
pint's application registry. To work with a registry of your own, call `pint.set_application_registry` before you make
the first quantity.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from rigcheck.errors import ArgumentError, UnitError
from rigcheck.files import read_rig, rig_from_data
from rigcheck.model import Shot
from rigcheck.units import DIMENSIONS, Measured, parse_quantity, registry

if TYPE_CHECKING:
    from rigcheck.studies.choose.results import ChoiceResult
    from rigcheck.studies.explain.results import ExplainResult
    from rigcheck.studies.results import CheckResult
    from rigcheck.studies.retime.results import RetimeResult
    from rigcheck.studies.sheet.study import SheetResult

__all__ = ["Rig", "check", "choose", "explain", "load", "retime", "sheet", "to_csv", "to_dict", "to_html"]

Rig: TypeAlias = "Shot | str | Path | Mapping[str, Any]"
"""A shot, the path of a rig file, or what one holds as nested Python values."""

Given: TypeAlias = Any
"""A quantity of pint, or a text of number and unit."""


def load(rig: Rig) -> Shot:
    """Read a rig.

    Parameters
    ----------
    rig : Shot, str, Path or mapping
        The path of a rig file; or what one holds as nested Python values, where quantities may be texts
        (``"3 mm"``, ``"14 SWG"``) or quantities of pint. A shot comes back as it is.

    Returns
    -------
    Shot
        Frozen and validated.

    Raises
    ------
    InputError
        Everything that is wrong, each with its place, what is allowed and what to do.

    Examples
    --------
    >>> import pint
    >>> quantity = pint.get_application_registry().Quantity
    >>> shot = load(
    ...     {
    ...         "prop": [
    ...             {
    ...                 "name": "inkwell",
    ...                 "mass": quantity(310, "g"),
    ...                 "support": [{"material": "music-wire", "diameter": "3 mm", "length": "7 in"}],
    ...             }
    ...         ]
    ...     }
    ... )
    >>> print(f"{shot.prop[0].support[0].length.nominal.to('mm'):.1f}")
    177.8 millimeter
    """
    if isinstance(rig, Shot):
        return rig
    if isinstance(rig, Mapping):
        return rig_from_data(rig)
    return read_rig(rig)


def check(rig: Rig, *, prop: str | None = None) -> CheckResult:
    """Check whether the props of a shot will sag, sway, bend for good, or be held too weakly.

    Parameters
    ----------
    rig : Shot, str, Path or mapping
        See `load`.
    prop : str, optional
        Name of the only prop to check.

    Returns
    -------
    CheckResult
        Verdict, figures with units, findings with computed advice, assumptions and cautions of each prop.

    Raises
    ------
    InputError
        The rig cannot be read.
    UnknownNameError
        The shot has no prop of that name.

    Examples
    --------
    >>> result = check("shared/shots/desk-set.toml", prop="inkwell")
    >>> result.verdict.value
    'pass'
    >>> f"{result.props[0].static.sag.to('mm'):.2f~}"
    '0.48 mm'
    """
    from rigcheck.studies.check import check as study

    return study(load(rig), prop=prop)


def choose(
    rig: Rig,
    *,
    prop: str | None = None,
    stock: Rig | None = None,
    most: int = 12,
    pareto: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> ChoiceResult:
    """Choose what to buy: try every stock material and size on a shot, and rank those that pass.

    Parameters
    ----------
    rig : Shot, str, Path or mapping
        See `load`.
    prop : str, optional
        Name of the only prop to choose for.
    stock : Shot, str, Path or mapping, optional
        Your own list, written as a rig: each support in it is one size that can be had.
    most : int
        How many candidates to hand back, at least 1.
    pareto : bool
        Work out the front of visible width against wobble too.
    progress : callable, optional
        Called with candidates done and to do.

    Returns
    -------
    ChoiceResult
        Candidates best first; `to_csv` makes a table of them.

    Raises
    ------
    InputError
        A rig cannot be read.
    UnknownNameError
        The shot has no prop of that name.
    ArgumentError
        There is nothing to choose from.
    """
    from rigcheck.studies.choose.study import choose as study

    own = None if stock is None else load(stock)
    return study(load(rig), prop=prop, stock=own, most=most, pareto=pareto, progress=progress)


def retime(
    rig: Rig,
    *,
    prop: str | None = None,
    profile: str | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> RetimeResult:
    """Find how fast the moves of a shot can go and still arrive still.

    Parameters
    ----------
    rig : Shot, str, Path or mapping
        See `load`.
    prop : str, optional
        Name of the only prop to look at.
    profile : str, optional
        Look at this profile in place of the planned one.
    progress : callable, optional
        Told what is being done, how many steps are done, and of how many.

    Returns
    -------
    RetimeResult
        Times and factors of each prop, best profile first.

    Raises
    ------
    InputError
        The rig cannot be read.
    UnknownNameError
        The shot has no prop of that name, or there is no such profile.
    """
    from rigcheck.studies.retime.study import retime as study

    return study(load(rig), prop=prop, profile=profile, progress=progress)


def explain(
    take: str | Path | None,
    *,
    rig: Rig | None = None,
    prop: str | None = None,
    frame_rate: Given | None = None,
    tap: bool = False,
    hung: Given | None = None,
    sag: Given | None = None,
    rates: Mapping[str, Given] | None = None,
    point: Sequence[Given] | None = None,
) -> ExplainResult:
    """Explain a test take: what wobbled, and what cures it.

    Parameters
    ----------
    take : str, Path or None
        File with the track of a point on the prop. None with a bench test alone.
    rig : Shot, str, Path or mapping, optional
        See `load`. Without it only the components of the swing are given.
    prop : str, optional
        Name of the prop; needed where the shot has several.
    frame_rate : quantity, optional
        Frames a second as shot, for a file without times, for example ``"50 fps"``.
    tap : bool
        The prop was tapped and not moved.
    hung, sag : quantity, optional
        A bench test: a mass hung on the prop and how much farther it then sagged; both or neither.
    rates : mapping of str to quantity, optional
        Frequencies of the drive that are known, by name.
    point : sequence of 3 quantities, optional
        Where the followed point is from the prop's centre of mass: right, up, toward.

    Returns
    -------
    ExplainResult
        Components of the swing, and causes best first, each with its chance and its cure.

    Raises
    ------
    InputError
        A file cannot be read.
    UnitError
        A quantity has no unit or one of another dimension.
    UnknownNameError
        The shot has no prop of that name.
    ArgumentError
        What is given does not go together.
    """
    from rigcheck.studies.explain.study import HungMass
    from rigcheck.studies.explain.study import explain as study

    if (hung is None) != (sag is None):
        raise ArgumentError(
            "hung and sag belong together: a bench test is a mass and how much farther it sags."
        )
    if point is not None and len(point) != 3:
        raise ArgumentError(f"point has three lengths: right, up, toward. Given: {len(point)}.")
    place = None
    if point is not None:
        right, up, toward = (_in(one, "length", "m", "point") for one in point)
        place = (right, up, toward)
    bench = None
    if hung is not None:
        bench = HungMass(mass=_in(hung, "mass", "kg", "hung"), sag=_in(sag, "length", "m", "sag"))
    return study(
        take,
        shot=None if rig is None else load(rig),
        prop=prop,
        frame_rate=None if frame_rate is None else _in(frame_rate, "frequency", "Hz", "frame_rate"),
        tap=tap,
        hung=bench,
        rates={name: _in(rate, "frequency", "Hz", f"rate {name}") for name, rate in (rates or {}).items()},
        point=place,
    )


def sheet(rig: Rig, *, prop: str | None = None) -> SheetResult:
    """Put together what the crew needs on the day: cautions, cut list, order of work, mount, clamps, proof load.

    Parameters
    ----------
    rig : Shot, str, Path or mapping
        See `load`.
    prop : str, optional
        Name of the only prop to put on it.

    Returns
    -------
    SheetResult
        The check and all that the page shows beside it; `to_html` makes the page.

    Raises
    ------
    InputError
        The rig cannot be read.
    UnknownNameError
        The shot has no prop of that name.

    Examples
    --------
    >>> made = sheet("shared/shots/desk-set.toml", prop="inkwell")
    >>> made.check.verdict.value, len(made.cuts)
    ('pass', 1)
    """
    from rigcheck.studies.sheet.study import sheet as study

    return study(load(rig), prop=prop)


def to_dict(
    result: CheckResult | ChoiceResult | RetimeResult | ExplainResult | SheetResult,
) -> dict[str, Any]:
    """Turn a result into plain dicts, lists, strings and numbers, the same as ``--json`` prints.

    Parameters
    ----------
    result : CheckResult, ChoiceResult, RetimeResult, ExplainResult or SheetResult
        What `check`, `choose`, `retime`, `explain` or `sheet` handed back.

    Returns
    -------
    dict
        Units stand in the last part of each key; what is absent is None.

    Raises
    ------
    ArgumentError
        It is something else.

    Examples
    --------
    >>> made = to_dict(check("shared/shots/desk-set.toml", prop="inkwell"))
    >>> made["format"], made["props"][0]["static"]["sag_mm"] > 0
    ('rigcheck-check/1', True)
    """
    kind = type(result).__name__
    if kind == "CheckResult":
        from rigcheck.views.as_json import check_json

        return check_json(result)  # type: ignore[arg-type]
    if kind == "ChoiceResult":
        from rigcheck.views.choose_view import choose_json

        return choose_json(result)  # type: ignore[arg-type]
    if kind == "RetimeResult":
        from rigcheck.views.retime_view import retime_json

        return retime_json(result)  # type: ignore[arg-type]
    if kind == "ExplainResult":
        from rigcheck.views.explain_view import explain_json

        return explain_json(result)  # type: ignore[arg-type]
    if kind == "SheetResult":
        from rigcheck.views.sheet_json import sheet_json

        return sheet_json(result)  # type: ignore[arg-type]
    raise ArgumentError(f"{kind} is no result of check, choose, retime, explain or sheet.")


def to_csv(result: ChoiceResult) -> str:
    """Turn the candidates of a choice into a table.

    Parameters
    ----------
    result : ChoiceResult
        What `choose` handed back.

    Returns
    -------
    str
        CSV with one header line and one line a candidate, best first for each prop; units stand in the last part of
        each heading, lists are joined by ``; ``, and what is absent is empty.

    Raises
    ------
    ArgumentError
        It is something else.
    """
    if type(result).__name__ != "ChoiceResult":
        raise ArgumentError(f"{type(result).__name__} is no result of choose, and has no candidates.")
    rows = [
        {"prop": prop["name"], **{key: _cell(value) for key, value in candidate.items()}}
        for prop in to_dict(result)["props"]
        for candidate in prop["candidates"]
    ]
    headings = list(dict.fromkeys(key for row in rows for key in row)) or ["prop"]
    table = io.StringIO()
    writer = csv.DictWriter(table, headings, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return table.getvalue()


def to_html(result: SheetResult) -> str:
    """Turn a sheet into the page for the crew, the same as the command writes.

    Parameters
    ----------
    result : SheetResult
        What `sheet` handed back.

    Returns
    -------
    str
        HTML, whole in itself: no network, no script. Printed at 100 % its drawings are to scale.

    Raises
    ------
    ArgumentError
        It is something else.
    """
    if type(result).__name__ != "SheetResult":
        raise ArgumentError(f"{type(result).__name__} is no result of sheet, and has no page.")
    from rigcheck import __version__
    from rigcheck.views.page import page_html

    return page_html(result, version=__version__)


def _cell(value: Any) -> Any:
    """One cell of a table; a text that a spreadsheet would run as a formula is kept a text."""
    if value is None:
        return ""
    if isinstance(value, (list, tuple)):
        value = "; ".join(str(entry) for entry in value)
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return f"'{value}"
    return value


def _in(value: Given, dimension: str, unit: str, name: str) -> float:
    """Give a quantity in a unit; `name` is the argument, for messages."""
    if isinstance(value, str):
        value = parse_quantity(value, dimension, sign="any")
    if isinstance(value, Measured):
        return value.m_as(unit)
    wanted = DIMENSIONS[dimension]
    try:
        return float(value.m_as(registry().Unit(unit)))
    except (AttributeError, ValueError, TypeError, ArithmeticError):
        raise UnitError(
            f'{name}: {wanted.phrase} is needed, such as "{wanted.example}". Given: {value!r:.60}.'
        ) from None
