"""The command ``rigcheck stock``."""

from __future__ import annotations

import click

from rigcheck.cli.completing import names_and_words
from rigcheck.cli.options import as_json_option, details_option
from rigcheck.cli.running import console, print_json

__all__ = ["stock"]


@click.command()
@click.argument("words", nargs=-1, shell_complete=names_and_words)
@details_option
@as_json_option
def stock(words: tuple[str, ...], details: bool, as_json: bool) -> None:
    """Show and search the materials, sheets, clamps, gauges and sizes.

    \b
      rigcheck stock
      rigcheck stock carbon tube
      rigcheck stock 14 SWG --details
    """
    from rigcheck.stock import search
    from rigcheck.views.stock_view import render_stock, stock_json

    found = search(" ".join(words))
    if as_json:
        print_json(stock_json(found))
    else:
        render_stock(console(), found, details=details)
