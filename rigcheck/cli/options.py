"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from rigcheck.cli.completing import names_and_words, props_of_the_file

__all__ = [
    "as_json_option",
    "details_option",
    "figure_option",
    "overwrite_option",
    "prop_option",
    "rig_flags",
]

as_json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print the result as JSON, for programs."
)
details_option = click.option(
    "--details", is_flag=True, help="Show every figure, mode, assumption and source."
)
figure_option = click.option(
    "--figure",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Also draw it, as .svg or .png.",
)
overwrite_option = click.option(
    "--overwrite", is_flag=True, help="Let what is written replace files that are there."
)

# Flags of a quick question without a rig file; they go through the same checks as the file's keys.
_RIG_FLAGS = (
    ("material", "What the support is made of, for example music-wire."),
    ("section", "round, tube, strip, strand or threaded; follows from the sizes."),
    ("diameter", 'For example 3mm, "1/8 in" or "14 SWG".'),
    ("wall", "Wall of a tube."),
    ("width", "Width of a strip."),
    ("thickness", "Thickness of a strip."),
    ("wires", "Number of wires of a strand."),
    ("length", "Free length, jaw to tip."),
    ("from", "Where the root lies: behind, front, left, right, above or below."),
    ("clamp", "How the root is held, for example collet."),
    ("root-stiffness", 'For example "12 N*m/rad", or rigid.'),
    ("mass", "Of the prop and all else beyond the tip."),
    ("size", 'Of the prop: "52mm, 45mm, 52mm" (right, up, toward).'),
    ("shape", "Of the prop: box, cylinder, disc or sphere."),
    ("slide", "How far it moves."),
    ("duration", "In what time."),
    ("profile", "How the move speeds up and slows down."),
    ("along", "Direction of the move: up, right, toward ..."),
    ("acceleration", "Peak acceleration, where only that is known."),
    ("field-width", "What the frame spans at the prop."),
    ("image-width", "Width of the picture in pixels."),
    ("frame-rate", "Frame rate as shot."),
    ("playback-rate", "Frame rate as shown."),
    ("hazard", "Who is near: clear, hands or overhead."),
)


def prop_option(words: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give a command the option that names one prop of the shot; `words` is its help."""
    return click.option("--prop", metavar="NAME", shell_complete=props_of_the_file, help=words)


def rig_flags(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the flags that describe one prop on one support."""
    for name, words in reversed(_RIG_FLAGS):
        command = click.option(
            f"--{name}",
            name.replace("-", "_"),
            metavar="VALUE",
            shell_complete=names_and_words,
            help=words,
        )(command)
    return command
