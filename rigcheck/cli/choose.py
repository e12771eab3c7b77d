"""The command ``rigcheck choose``."""

from __future__ import annotations

from pathlib import Path

import click

from rigcheck.cli.figures import figure_target, write_figure
from rigcheck.cli.options import (
    as_json_option,
    figure_option,
    overwrite_option,
    prop_option,
)
from rigcheck.cli.running import console, print_json, progress

__all__ = ["choose"]


@click.command(short_help="What to buy: rank every stock material and size that carries it.")
@click.argument("file", type=click.Path(path_type=Path))
@prop_option("The prop to choose for, where the shot has several.")
@click.option(
    "--stock",
    "stock_file",
    type=click.Path(path_type=Path),
    help="What you have: a rig file in which each support is one size. All of stock if left out.",
)
@click.option("--pareto", is_flag=True, help="Show which trade visible width against wobble best.")
@figure_option
@overwrite_option
@click.option("--most", type=click.IntRange(1), default=8, show_default=True, help="How many to show.")
@click.option("--reach", "all_reach", is_flag=True, help="Show how far every size reaches.")
@click.option(
    "--csv",
    "table",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="Write every candidate with its figures as a table.",
)
@as_json_option
def choose(
    file: Path,
    prop: str | None,
    stock_file: Path | None,
    pareto: bool,
    most: int,
    figure: Path | None,
    overwrite: bool,
    all_reach: bool,
    table: Path | None,
    as_json: bool,
) -> None:
    """What to buy: try every stock material and size on a shot, and rank those that pass.

    \b
      rigcheck choose shared/shots/desk-set.toml --prop "paper crane"
      rigcheck choose shared/shots/desk-set.toml --prop "paper crane" \\
        --figure crane-choice.svg
      rigcheck choose shared/shots/desk-set.toml --prop notebook \\
        --csv notebook-choices.csv
    """
    from rigcheck.files import read_rig
    from rigcheck.studies.choose.study import choose as choose_for
    from rigcheck.views.choose_view import choose_json, render_choice

    if table is not None:
        from rigcheck.files.writing import check_free

        check_free(table, overwrite=overwrite)
    own = None if stock_file is None else read_rig(stock_file)
    shot = read_rig(file)
    figure_target(figure, overwrite=overwrite)
    with progress() as tell:
        result = choose_for(
            shot,
            prop=prop,
            stock=own,
            pareto=pareto or figure is not None,
            most=most,
            every=table is not None,
            progress=lambda done, total: tell("Candidates", done, total),
        )
    if figure is not None:
        from rigcheck.views.figures import choose_figure

        write_figure(figure, choose_figure(result), overwrite=overwrite)
    if table is not None:
        from rigcheck.files import write_whole
        from rigcheck.studies.choose.table import candidates_csv

        write_whole(table, candidates_csv(result), overwrite=overwrite)
    if as_json:
        print_json(choose_json(result))
    else:
        render_choice(console(), result, all_reach=all_reach)
