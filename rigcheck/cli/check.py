"""The command ``rigcheck check``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from rigcheck.cli.figures import figure_target, write_figure
from rigcheck.cli.options import (
    as_json_option,
    details_option,
    figure_option,
    overwrite_option,
    prop_option,
    rig_flags,
)
from rigcheck.cli.running import console, print_json
from rigcheck.cli.words import plain

__all__ = ["check"]


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@prop_option("Only this prop of the shot.")
@click.option(
    "--history",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="Write how far one prop is off its path over time (time_s, mm, px), along the moves and after.",
)
@figure_option
@overwrite_option
@details_option
@as_json_option
@rig_flags
def check(
    file: Path | None,
    prop: str | None,
    history: Path | None,
    figure: Path | None,
    overwrite: bool,
    details: bool,
    as_json: bool,
    **flags: str | None,
) -> None:
    """Check a shot: will it sag, sway, bend for good, or be too weak?

    FILE is a rig file. Without one, flags ask about one prop on one support:

    \b
      rigcheck check shared/shots/desk-set.toml
      rigcheck check --material music-wire --diameter 3mm --length 180mm \\
        --mass 310g --slide 220mm --duration 4s
      rigcheck check shared/shots/desk-set.toml --prop notebook \\
        --history notebook.csv
      rigcheck check shared/shots/desk-set.toml --figure desk-set.svg
    """
    from rigcheck.files import read_rig, rig_from_flags, write_whole

    given = {name: value for name, value in flags.items() if value is not None}
    if file is not None and given:
        names = ", ".join(f"--{name.replace('_', '-')}" for name in given)
        raise click.UsageError(
            f"Give a rig file or flags, not both: {names} stand beside {plain(str(file))}."
        )
    if file is None and not given:
        raise click.UsageError("Give a rig file, or at least --material, --diameter, --length and --mass.")
    shot = read_rig(file) if file is not None else rig_from_flags(given)
    if history is not None:
        if prop is None and len(shot.prop) > 1:
            raise click.UsageError("--history writes one prop: say which with --prop NAME.")
        from rigcheck.studies.history import history_csv, response_history

        write_whole(history, history_csv(response_history(shot, prop=prop)), overwrite=overwrite)
    figure_target(figure, overwrite=overwrite)
    from rigcheck.studies.check import check_of
    from rigcheck.studies.work import works_for

    works = works_for(shot, prop)
    result = check_of(shot, works, prop=prop, thorough=details)
    if figure is not None:
        from rigcheck.studies.sheet.study import pictures
        from rigcheck.views.figures import check_figure

        write_figure(figure, check_figure(result, pictures(works, prop=prop)), overwrite=overwrite)
    if as_json:
        from rigcheck.views.as_json import check_json

        print_json(check_json(result))
    else:
        from rigcheck.views.terminal import render_check

        render_check(console(), result, details=details)
    sys.exit(1 if result.verdict == "fail" else 0)
