"""The command ``rigcheck retime``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from rigcheck.cli.completing import names_and_words
from rigcheck.cli.figures import figure_target, write_figure
from rigcheck.cli.options import (
    as_json_option,
    details_option,
    figure_option,
    overwrite_option,
    prop_option,
)
from rigcheck.cli.running import console, print_json, progress

__all__ = ["retime"]


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@prop_option("Only this prop of the shot.")
@click.option(
    "--profile",
    metavar="NAME",
    shell_complete=names_and_words,
    help="Look at this profile in place of the planned one.",
)
@click.option(
    "--export",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="Write the shaped move as keyframes (time_s, value).",
)
@click.option("--rate", metavar="VALUE", help='Keys a second, for example "50 fps"; else the frame rate.')
@figure_option
@overwrite_option
@details_option
@as_json_option
def retime(
    file: Path,
    prop: str | None,
    profile: str | None,
    export: Path | None,
    rate: str | None,
    figure: Path | None,
    overwrite: bool,
    details: bool,
    as_json: bool,
) -> None:
    """How fast can the move go and still arrive still?

    \b
      rigcheck retime shared/shots/desk-set.toml
      rigcheck retime shared/shots/desk-set.toml --prop notebook \\
        --export notebook-keys.csv --rate "50 fps"
      rigcheck retime shared/shots/desk-set.toml --figure desk-set-timing.svg
    """
    from rigcheck.files import read_rig
    from rigcheck.studies.retime.keys_export import export_keys
    from rigcheck.studies.retime.study import retime as retime_shot

    if rate is not None and export is None:
        raise click.UsageError("--rate says how many keys are written: give --export FILE.csv too.")
    shot = read_rig(file)
    if export is not None and prop is None and len(shot.prop) > 1:
        raise click.UsageError("--export writes one prop: say which with --prop NAME.")
    figure_target(figure, overwrite=overwrite)
    with progress() as tell:
        result = retime_shot(shot, prop=prop, profile=profile, progress=tell)
    exported = (
        None if export is None else export_keys(shot, result.props[0], export, rate=rate, overwrite=overwrite)
    )
    if figure is not None:
        from rigcheck.views.figures import retime_figure

        write_figure(figure, retime_figure(result), overwrite=overwrite)
    if as_json:
        from rigcheck.views.retime_view import retime_json

        print_json(retime_json(result, exported))
    else:
        from rigcheck.views.retime_view import render_export, render_retime

        screen = console()
        render_retime(screen, result, details=details)
        if exported is not None:
            render_export(screen, exported)
    sys.exit(1 if result.verdict == "fail" else 0)
