"""The command ``rigcheck sheet``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from rigcheck import __version__
from rigcheck.cli.options import as_json_option, overwrite_option, prop_option
from rigcheck.cli.running import console, print_json, progress

__all__ = ["sheet"]


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@prop_option("Only this prop of the shot.")
@click.option(
    "-o",
    "--output",
    metavar="FILE.html",
    type=click.Path(path_type=Path),
    help="Where to write the page; else beside you, named after the rig file.",
)
@click.option(
    "--pdf",
    metavar="FILE.pdf",
    type=click.Path(path_type=Path),
    help="Also print it to PDF (extra part pdf).",
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper of the PDF."
)
@overwrite_option
@as_json_option
def sheet(
    file: Path,
    prop: str | None,
    output: Path | None,
    pdf: Path | None,
    paper: str,
    overwrite: bool,
    as_json: bool,
) -> None:
    """On the day: one page for the crew, to print or to read on a phone.

    Cautions, verdicts, drawings to scale, cut list, order of work, moves in frames, mount, clamp, counterweight and
    the proof load to hang before the take. The page is whole in itself: no network, no script.

    \b
      rigcheck sheet shared/shots/desk-set.toml -o desk-set-sheet.html
      rigcheck sheet shared/shots/desk-set.toml --json
    """
    from rigcheck.files import check_free, read_rig, write_whole
    from rigcheck.studies.sheet.study import sheet as sheet_of

    if output is None and not as_json and pdf is None:
        output = Path(f"{file.stem}-sheet.html")
    for target in (output, pdf):
        if target is not None:
            check_free(target, overwrite=overwrite)
    result = sheet_of(read_rig(file), prop=prop)
    written = []
    if output is not None or pdf is not None:
        from rigcheck.views.page import page_html, page_pdf

        with progress() as tell:
            page = page_html(
                result, version=__version__, progress=lambda done, total: tell("Props drawn", done, total)
            )
        printed = None if pdf is None else page_pdf(page, paper=paper)
        if output is not None:
            written.append(write_whole(output, page, overwrite=overwrite))
        if pdf is not None and printed is not None:
            written.append(write_whole(pdf, printed, overwrite=overwrite))
    if as_json:
        from rigcheck.views.sheet_json import sheet_json

        print_json(sheet_json(result))
    else:
        from rigcheck.views.sheet_view import render_sheet

        render_sheet(console(), result, written)
    sys.exit(1 if result.check.verdict == "fail" else 0)
