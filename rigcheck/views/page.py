"""The sheet as one page: HTML with its pictures inside, no script and nothing to fetch; it prints and fits a phone.

Every text is escaped by the template engine, and characters that would steer a reader are shown, not sent.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rigcheck.errors import OutputError
from rigcheck.studies.results import Status
from rigcheck.views.deciding import FAIL_FIRST, by_verdict, deciding_rows, ordered, skipped_line
from rigcheck.views.figure_rig import (
    draw_frame,
    draw_lens,
    draw_side,
    draw_wobble,
    frame_height,
    frame_words,
    lens_words,
    scale_words,
    side_height,
    side_words,
    wobble_words,
)
from rigcheck.views.figure_style import GREY, INK, MARKS, Drawing, drawing, new_figure, quiet, svg_for_page
from rigcheck.views.figure_time import draw_response, response_words
from rigcheck.views.format import amount, number, printable

if TYPE_CHECKING:
    from jinja2 import Environment

    from rigcheck.studies.sheet.study import PropSheet, SheetResult

__all__ = ["COLOURS", "CONTRASTS", "page_html", "page_pdf"]

COLOURS = {
    "ink": INK,
    "grey": GREY,
    "line": "#8b9199",
    "paper": "#f4f1ea",
    "white": "#ffffff",
}
"""The only colours of the page; nothing is told by them alone."""
CONTRASTS = (
    ("ink", "white"),
    ("ink", "paper"),
    ("grey", "white"),
    ("grey", "paper"),
    ("white", "ink"),
)
"""Text on background, every pair that the page uses."""

_WIDE = 88.0  # mm of paper for one picture; two stand beside each other on A4 and on Letter
_RESPONSE = 58.0
_WOBBLE = 58.0
_TALLEST = 92.0
_NAMES = {Status.PASS: "pass", Status.CAUTION: "caution", Status.FAIL: "fail", Status.SKIPPED: "not checked"}
_HAZARDS = {
    "clear": "Clear: nobody under a prop.",
    "hands": "Hands work under a prop.",
    "overhead": "Overhead: people, animals or open flame under a prop.",
}
_NO_PDF = (
    "a PDF needs the extra part pdf: pip install 'rigcheck[pdf]'. Or write the page with -o sheet.html and print it"
    " from a browser, at 100 %."
)


@dataclass(frozen=True, kw_only=True)
class _Picture:
    """One picture of the page: its SVG, its name and what stands under it."""

    svg: str
    title: str
    words: str


def page_html(
    result: SheetResult, *, version: str = "", progress: Callable[[int, int], None] | None = None
) -> str:
    """Write the sheet as a page.

    Parameters
    ----------
    result : SheetResult
        What the study handed back.
    version : str, optional
        Of the program, to be named at the end.
    progress : callable, optional
        Told how many props are drawn, and of how many.

    Returns
    -------
    str
        HTML, whole in itself. The same result gives the same text.
    """
    template = _environment().get_template("sheet.html")
    props = []
    for index, one in enumerate(result.props, start=1):
        props.append(_prop(one, f"p{index}"))
        if progress is not None:
            progress(index, len(result.props))
    return template.render(
        result=result,
        title=result.check.title or "Untitled shot",
        props=props,
        frame=_frame(result),
        groups=by_verdict(result.check.props),
        colours=COLOURS,
        made_by=f"rigcheck {version}".rstrip(),
        hazard=_HAZARDS[result.hazard],
    )


def page_pdf(html: str, *, paper: str = "a4") -> bytes:
    """Print a page to PDF.

    Parameters
    ----------
    html : str
        From `page_html`.
    paper : str
        ``a4`` or ``letter``.

    Returns
    -------
    bytes
        The same for the same page; tagged, so that it can be read aloud in order.

    Raises
    ------
    OutputError
        The library that does it is not installed, or a part of it is missing on this machine.
    """
    try:
        from weasyprint import CSS, HTML
    except ImportError as error:
        raise OutputError(_NO_PDF) from error
    except OSError as error:  # its own libraries for text are missing
        raise OutputError(f"{_NO_PDF} (It is there, but cannot start: {str(error)[:120]})") from error
    with quiet("weasyprint"):  # what a browser knows of CSS and it does not is no news for the crew
        size = CSS(string=f"@page {{ size: {paper} portrait }}")
        return bytes(
            HTML(string=html, url_fetcher=_fetch_nothing).write_pdf(stylesheets=[size], pdf_tags=True)
        )


def _fetch_nothing(url: str, *_: Any, **__: Any) -> dict[str, Any]:
    raise ValueError(f"the sheet fetches nothing, and was asked for {url[:80]}")


def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("rigcheck.views"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_safe,
    )
    environment.filters |= {
        "amount": amount,
        "number": number,
        "mark": lambda status: MARKS[status],
        "word": lambda status: _NAMES[status],
    }
    return environment


def _safe(value: Any) -> Any:
    """Text without characters that steer; what is markup of our own stays as it is."""
    if isinstance(value, str) and not hasattr(value, "__html__"):
        return printable(value)
    return value


# -- what the template shows -----------------------------------------------------------------------------


def _prop(one: PropSheet, prefix: str) -> dict[str, Any]:
    found = one.check
    return {
        "sheet": one,
        "check": found,
        "id": prefix,
        "pictures": _pictures(one, prefix),
        "rows": deciding_rows(found),
        "wrong": ordered(found.findings, FAIL_FIRST),
        "skipped": skipped_line(found.findings),
        "head": [
            figure
            for figure in found.details
            if figure.label.startswith(("mass on the head", "moment across", "torque about", "counterweight"))
        ],
    }


def _pictures(one: PropSheet, prefix: str) -> list[_Picture]:
    shown = one.pictures
    name = one.check.name
    made: list[_Picture] = []
    with drawing():
        height = side_height(shown.side, width_mm=_WIDE, most_mm=_TALLEST)
        figure = new_figure(width_mm=_WIDE, height_mm=height)
        scale = draw_side(figure, shown.side, left=0, bottom=0, width=_WIDE, height=height)
        words = side_words(shown.side, scale)
        made.append(_picture(figure, f"{name} from the side, {scale_words(scale)}", words, f"{prefix}-side"))
        if shown.lens is not None:
            figure = new_figure(width_mm=_WIDE, height_mm=height)
            scale = draw_lens(figure, shown.lens, left=0, bottom=0, width=_WIDE, height=height)
            words = lens_words(shown.lens, scale)
            title = f"{name} as the lens sees it, {scale_words(scale)}"
            made.append(_picture(figure, title, words, f"{prefix}-lens"))
        if shown.moves:
            figure = new_figure(width_mm=_WIDE, height_mm=_RESPONSE)
            draw_response(figure, shown, left=0, bottom=0, width=_WIDE, height=_RESPONSE)
            title = f"Move and response of {name} over time"
            made.append(_picture(figure, title, response_words(shown), f"{prefix}-time"))
        if shown.wobble is not None:
            figure = new_figure(width_mm=_WIDE, height_mm=_WOBBLE)
            draw_wobble(figure, shown.wobble, left=0, bottom=0, width=_WIDE, height=_WOBBLE)
            title = f"Wobble of {name} after the moves"
            made.append(_picture(figure, title, wobble_words(shown.wobble), f"{prefix}-wobble"))
    return made


def _picture(figure: Any, title: str, words: str, name: str) -> _Picture:
    from markupsafe import Markup

    # Safe as it is: the figure room escapes what it writes, and names its ids by `name`.
    svg = Markup(svg_for_page(Drawing(figure, title, words), name))
    return _Picture(svg=svg, title=title, words=words)


def _frame(result: SheetResult) -> _Picture | None:
    if result.frame is None:
        return None
    width = 2 * _WIDE + 4
    with drawing():
        height = min(frame_height(result.frame, width_mm=width), 0.62 * width)
        figure = new_figure(width_mm=width, height_mm=height)
        draw_frame(figure, result.frame, left=0, bottom=0, width=width, height=height)
        return _picture(figure, "The whole picture", frame_words(result.frame), "frame")
