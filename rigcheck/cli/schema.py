"""The command ``rigcheck schema``."""

from __future__ import annotations

import click

from rigcheck.cli.running import print_json

__all__ = ["schema"]


@click.command(short_help="Print the rig file's form, for editors that complete and check it.")
def schema() -> None:
    """Print the JSON Schema of the rig file, with which editors complete and check it.

    \b
      rigcheck schema > rig-file.schema.json
    """
    from rigcheck.files import schema as rig_schema

    print_json(rig_schema())
