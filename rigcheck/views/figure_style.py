"""How figures look and are written: plain lines on white that print in black and white, true to size.

matplotlib is imported where something is drawn and nowhere else, and without its windows: a figure goes straight to
SVG, PNG or PDF. The same input gives the same bytes.
"""

from __future__ import annotations

import io
import logging
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from rigcheck.errors import OutputError
from rigcheck.studies.results import Status
from rigcheck.views.format import printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ft2font import FT2Font

__all__ = [
    "ACCENT",
    "FIGURE_ENDINGS",
    "GREY",
    "INK",
    "MARKS",
    "PAPER",
    "Drawing",
    "axes_at",
    "drawing",
    "figure_bytes",
    "figure_kind",
    "footer",
    "new_figure",
    "quiet",
    "svg_for_page",
    "text_lines",
]

INK = "#20242a"
GREY = "#5d646d"
"""Dark enough to read on white: 6 to 1."""
PAPER = "#f1ede4"
"""Fill of a prop; it prints as next to nothing."""
ACCENT = "#7a3b12"
"""For what swings; it is always dotted or labelled too."""
MARKS = {Status.PASS: "✓", Status.CAUTION: "!", Status.FAIL: "✗", Status.SKIPPED: "–"}

FIGURE_ENDINGS = (".svg", ".png")
_MM = 1.0 / 25.4
_DPI = 200
_SIZE = 8.0
_FONT = "DejaVu Sans"
_MEASURED = 100.0
"""Size at which the width of words is measured [pt]."""
_STYLE: dict[str, Any] = {
    "font.family": [_FONT],
    "font.size": _SIZE,
    "text.parse_math": False,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": GREY,
    "axes.linewidth": 0.6,
    "axes.labelsize": _SIZE,
    "axes.titlesize": _SIZE,
    "axes.formatter.use_mathtext": False,
    "axes.unicode_minus": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.labelsize": _SIZE - 1,
    "ytick.labelsize": _SIZE - 1,
    "xtick.color": GREY,
    "ytick.color": GREY,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "lines.linewidth": 0.9,
    "hatch.linewidth": 0.5,
    "hatch.color": GREY,
    "legend.frameon": False,
    "legend.fontsize": _SIZE - 1,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "svg.hashsalt": "rigcheck",
    "path.simplify": True,
    "path.simplify_threshold": 0.4,
    "agg.path.chunksize": 20000,
}


@dataclass(frozen=True, eq=False)
class Drawing:
    """A figure with its name and what it shows, in words.

    Attributes
    ----------
    figure : matplotlib.figure.Figure
        What is drawn.
    title, description : str
        The name, and all that a reader who does not see it needs.
    """

    figure: Figure
    title: str
    description: str


@contextmanager
def quiet(library: str) -> Iterator[None]:
    """A library tells nothing inside but its errors."""
    logger = logging.getLogger(library)
    before = logger.level
    logger.setLevel(logging.ERROR)
    try:
        yield
    finally:
        logger.setLevel(before)


@contextmanager
def drawing() -> Iterator[None]:
    """Everything drawn and written inside looks alike, and nothing outside changes."""
    with quiet("matplotlib"):  # that it fills its cache of fonts the first time is no news for the user
        import matplotlib as mpl

        with mpl.rc_context(), warnings.catch_warnings():
            mpl.rcdefaults()
            cast(Any, mpl.rcParams).update(_STYLE)
            # A letter that the font lacks is left to the reader's own fonts, see `figure_bytes`.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            yield


def new_figure(*, width_mm: float, height_mm: float) -> Figure:
    """An empty figure of a size on paper [mm]."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_mm * _MM, height_mm * _MM))


def axes_at(figure: Figure, left: float, bottom: float, width: float, height: float) -> Axes:
    """Axes at a place on the paper [mm from the lower left corner]."""
    across, up = figure.get_size_inches() / _MM
    return figure.add_axes((left / across, bottom / up, width / across, height / up))


def text_lines(text: str, *, width_mm: float, size: float = _SIZE) -> list[str]:
    """Break a text into lines that fit a width [mm] at a size [pt]."""
    room = width_mm * _MM * 72 * _MEASURED / size
    lines: list[str] = []
    taken = 0.0
    for word in printable(text).split():
        wide = _word_width(word)
        if lines and taken + _word_width(" ") + wide <= room:
            lines[-1] = f"{lines[-1]} {word}"
            taken += _word_width(" ") + wide
        else:
            lines.append(word)
            taken = wide
    return lines


@lru_cache(maxsize=4096)
def _word_width(word: str) -> float:
    """How wide a word is at the measured size [pt]."""
    from matplotlib.ft2font import LoadFlags

    font = _font()
    font.set_size(_MEASURED, 72)

    def advance(letter: str) -> float:
        """Its own width, without the hinting of a screen; one of another font is as wide as it is high."""
        if not font.get_char_index(ord(letter)):
            return _MEASURED
        return float(font.load_char(ord(letter), flags=LoadFlags.NO_HINTING).linearHoriAdvance) / 65536

    return sum(advance(letter) for letter in word)


def _font() -> FT2Font:
    """The font of all figures."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return get_font(findfont(FontProperties(family=_FONT)))


def footer(figure: Figure, text: str, *, left_mm: float = 2.0, bottom_mm: float = 2.0) -> None:
    """The caution that stands under every figure."""
    across, up = figure.get_size_inches() / _MM
    size = _SIZE - 1.5
    lines = text_lines(text, width_mm=across - 2 * left_mm, size=size)
    figure.text(
        left_mm / across, bottom_mm / up, "\n".join(lines), fontsize=size, color=GREY, va="bottom", ha="left"
    )


# -- writing ---------------------------------------------------------------------------------------------


def figure_kind(path: str | Path) -> str:
    """What a file name asks for: ``svg`` or ``png``.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    str

    Raises
    ------
    OutputError
        It ends in something else.
    """
    ending = Path(path).suffix.lower()
    if ending not in FIGURE_ENDINGS:
        raise OutputError(
            f"{path}: a figure is written as {' or '.join(FIGURE_ENDINGS)}. Give such an ending."
        )
    return ending[1:]


def figure_bytes(made: Drawing, kind: str) -> bytes:
    """A figure as the content of a file.

    Parameters
    ----------
    made : Drawing
        What to write.
    kind : str
        ``svg`` or ``png``.

    Returns
    -------
    bytes
        The same for the same drawing: without date or program in it.
    """
    stream = io.BytesIO()
    title, description = printable(made.title), printable(made.description)
    with drawing():
        import matplotlib as mpl

        if kind == "png":
            metadata: dict[str, Any] = {"Software": None, "Title": title, "Description": description}
            made.figure.savefig(stream, format="png", dpi=_DPI, metadata=metadata)
            return stream.getvalue()
        # Outlines look the same everywhere; what the font has no outline for stays text.
        mpl.rcParams["svg.fonttype"] = "path" if _has_outlines(made.figure) else "none"
        return _svg(made, "rig", standalone=True).encode("utf-8")


def svg_for_page(made: Drawing, name: str) -> str:
    """A figure as an element of a page, with names of its own and its text as text.

    Parameters
    ----------
    made : Drawing
        What to show.
    name : str
        Begins every id in it; letters, digits and hyphens.

    Returns
    -------
    str
        An ``svg`` element with title and description.
    """
    with drawing():
        import matplotlib as mpl

        mpl.rcParams["svg.fonttype"] = "none"
        return _svg(made, name, standalone=False)


def _svg(made: Drawing, name: str, *, standalone: bool) -> str:
    stream = io.StringIO()
    made.figure.savefig(
        stream, format="svg", metadata={"Creator": None, "Date": None, "Format": None, "Type": None}
    )
    text = stream.getvalue()
    head, body = text[: text.index("<svg")], text[text.index("<svg") :]
    # Ids of one figure must not be those of another on the same page.
    body = re.sub(r'\bid="([^"]*)"', rf'id="{name}-\1"', body)
    body = re.sub(r"url\(#([^)]*)\)", rf"url(#{name}-\1)", body)
    body = re.sub(r'xlink:href="#([^"]*)"', rf'xlink:href="#{name}-\1"', body)
    opening = body[: body.index(">") + 1]
    told = (
        f'<title id="{name}-title">{escape(printable(made.title))}</title>'
        f'<desc id="{name}-desc">{escape(printable(made.description))}</desc>'
    )
    labelled = f'{opening[:-1].rstrip()} role="img" aria-labelledby="{name}-title {name}-desc">'
    body = labelled + told + body[len(opening) :]
    return head + body if standalone else body


def _has_outlines(figure: Figure) -> bool:
    """Whether the font can draw every letter of a figure."""
    from matplotlib.text import Text

    font = _font()
    letters: set[str] = set()
    for item in figure.findobj(Text):
        letters.update(item.get_text())
    return all(font.get_char_index(ord(letter)) for letter in letters - {"\n"})
