"""The program's commands, each imported when it is called."""

from __future__ import annotations

import importlib

import click

from rigcheck import __version__
from rigcheck.cli.words import plain

__all__ = ["COMMANDS", "commands"]

COMMANDS = ("start", "check", "choose", "retime", "explain", "sheet", "stock", "schema")
"""Every command, in the order of the help; ``rigcheck/cli/NAME.py`` holds the function NAME."""


class _OnDemand(click.Group):
    """A group that imports a command's module when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Give the names in the order of the help."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the command of that name; None where there is none."""
        if cmd_name not in COMMANDS:
            return None
        command = getattr(importlib.import_module(f"rigcheck.cli.{cmd_name}"), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands, each with its whole first sentence at any width."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, self._first_sentence(ctx, name)) for name in COMMANDS])

    def _first_sentence(self, ctx: click.Context, name: str) -> str:
        command = self.get_command(ctx, name)
        return "" if command is None else command.get_short_help_str(limit=1000)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is called; suggest the nearest where there is none of that name."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            import difflib  # only when something was misspelt

            close = difflib.get_close_matches(args[0].lower(), COMMANDS, n=1)
            hint = f"Did you mean 'rigcheck {close[0]}'?" if close else f"There are {', '.join(COMMANDS)}."
            ctx.fail(f"No such command '{plain(args[0])}'. {hint}")
        return super().resolve_command(ctx, args)


@click.group(
    cls=_OnDemand, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(__version__, prog_name="rigcheck", message="%(prog)s %(version)s")
def commands() -> None:
    """Will the hidden wire, rod or tube that carries a prop sag, sway, bend for good or overload its head?

    \b
    Your own rig:   rigcheck start my-rig.toml
    A demo shot:    rigcheck check shared/shots/desk-set.toml
    More of each:   rigcheck check --help

    Tab completes commands, options, file names, prop names and materials once your shell was told; for bash, zsh and
    fish in turn:

    \b
    eval "$(_RIGCHECK_COMPLETE=bash_source rigcheck)"
    eval "$(_RIGCHECK_COMPLETE=zsh_source rigcheck)"
    _RIGCHECK_COMPLETE=fish_source rigcheck | source
    """
