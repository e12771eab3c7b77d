"""What the terminal says of a sheet that was written: the verdict, where it is, how to print it, the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rigcheck.views.wrapped import WrappedPage

if TYPE_CHECKING:
    from rich.console import Console

    from rigcheck.studies.sheet.study import SheetResult

__all__ = ["render_sheet"]


def render_sheet(console: Console, result: SheetResult, written: Sequence[Path]) -> None:
    """Print what was written.

    Parameters
    ----------
    console : rich.console.Console
        Where to print; its width, colours and encoding are respected.
    result : SheetResult
        What the study handed back.
    written : sequence of Path
        The files.
    """
    page = WrappedPage(console)
    page.headline(result.check.verdict, result.check.title or "Untitled shot")
    for prop in result.check.props:
        page.write(prop.name, first=page.text("  ").append_text(page.verdict(prop.verdict)), hang=13)
    for path in written:
        page.write(f"Wrote {path}.", hang=2)
    if written:
        page.write("Print it at 100 %: then the drawings are to scale.", hang=2)
    page.blank()
    page.heading("Cautions")
    page.bullets(f"{', '.join(names)}: {text}" if names else text for text, names in result.cautions)
    page.print()
