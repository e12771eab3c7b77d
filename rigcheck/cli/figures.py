"""Writing the figure that a command was asked for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rigcheck.views.figure_style import Drawing

__all__ = ["figure_target", "write_figure"]


def figure_target(path: Path | None, *, overwrite: bool) -> None:
    """Refuse a figure's file before the work for it is done."""
    if path is None:
        return
    from rigcheck.files import check_free
    from rigcheck.views.figure_style import figure_kind

    figure_kind(path)
    check_free(path, overwrite=overwrite)


def write_figure(path: Path, made: Drawing, *, overwrite: bool) -> None:
    """Write a figure whole or not at all, and say so on stderr."""
    from rigcheck.cli.words import plain
    from rigcheck.files import write_whole
    from rigcheck.views.figure_style import figure_bytes, figure_kind

    write_whole(path, figure_bytes(made, figure_kind(path)), overwrite=overwrite)
    click.echo(f"Wrote {plain(str(path))}.", err=True)
