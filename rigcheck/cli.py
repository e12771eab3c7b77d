"""The command line: words in, a study, a view out, an exit code. No arithmetic here.

Exit codes: 0 when everything passes or is a caution, 1 when something fails, 2 for bad input or usage.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rigcheck import __version__
from rigcheck.errors import RigcheckError

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["commands", "run"]

BAD_INPUT = 2

as_json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print the result as JSON, for programs."
)
details_option = click.option(
    "--details", is_flag=True, help="Show every figure, mode, assumption and source."
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


def run() -> None:
    """Run the program; every error that a user can cause ends in a plain message and exit code 2."""
    if hasattr(sys.stdout, "reconfigure"):
        # A pipe may be told to be ASCII; a name with an accent must not end in a traceback.
        sys.stdout.reconfigure(errors="replace")
    try:
        commands(prog_name="rigcheck")
    except RigcheckError as error:
        click.echo(f"rigcheck: {_plain(str(error))}", err=True)
        sys.exit(BAD_INPUT)
    except OSError as error:
        _drop_output()
        click.echo(f"rigcheck: the result cannot be written: {error.strerror or error}.", err=True)
        sys.exit(BAD_INPUT)


def _drop_output() -> None:
    """Send what is still to be printed nowhere, so that closing does not fail on it again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _plain(text: str) -> str:
    """The text without characters that would steer a terminal."""
    return "".join(
        letter if letter.isprintable() or letter == "\n" else "\N{REPLACEMENT CHARACTER}" for letter in text
    )


def _console() -> Console:
    from rich.console import Console

    class Terminal(Console):
        """A console whose reader may go (head, less): the exit code still tells the verdict."""

        def on_broken_pipe(self) -> None:
            self.quiet = True
            _drop_output()

    return Terminal(highlight=False)


def _print_json(value: Any) -> None:
    from rigcheck.views.as_json import dump

    try:
        click.echo(dump(value))
    except BrokenPipeError:
        _drop_output()


@contextmanager
def _progress() -> Iterator[Callable[[str, int, int], None]]:
    """A function to tell how far a long job is; it draws on stderr, and only on a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    quiet = not sys.stderr.isatty()
    with Progress(*columns, console=Console(stderr=True), transient=True, disable=quiet) as bar:
        task = bar.add_task("", total=None)

        def tell(what: str, done: int, total: int) -> None:
            bar.update(task, description=what, completed=done, total=total)

        yield tell


def _rig_flags(command: Callable[..., None]) -> Callable[..., None]:
    for name, words in reversed(_RIG_FLAGS):
        command = click.option(f"--{name}", name.replace("-", "_"), metavar="VALUE", help=words)(command)
    return command


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="rigcheck", message="%(prog)s %(version)s")
def commands() -> None:
    """Will the hidden wire, rod or tube that carries a prop sag, sway, bend for good or overload its head?

    Start with:  rigcheck check shared/shots/desk-set.toml
    """


@commands.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--prop", metavar="NAME", help="Only this prop of the shot.")
@click.option(
    "--history",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="Write how far one prop is off its path over time (time_s, mm, px), along the moves and after.",
)
@details_option
@as_json_option
@_rig_flags
def check(
    file: Path | None,
    prop: str | None,
    history: Path | None,
    details: bool,
    as_json: bool,
    **flags: str | None,
) -> None:
    """Check a shot: will it sag, sway, bend for good, or be too weak?

    FILE is a rig file. Without one, flags ask about one prop on one support:

    \b
      rigcheck check shared/shots/desk-set.toml
      rigcheck check --material music-wire --diameter 3mm --length 180mm --mass 310g --slide 220mm --duration 4s
      rigcheck check shared/shots/desk-set.toml --prop notebook --history notebook.csv
    """
    from rigcheck.files import read_rig, rig_from_flags

    given = {name: value for name, value in flags.items() if value is not None}
    if file is not None and given:
        names = ", ".join(f"--{name.replace('_', '-')}" for name in given)
        raise click.UsageError(
            f"Give a rig file or flags, not both: {names} stand beside {_plain(str(file))}."
        )
    if file is None and not given:
        raise click.UsageError("Give a rig file, or at least --material, --diameter, --length and --mass.")
    shot = read_rig(file) if file is not None else rig_from_flags(given)
    if history is not None:
        if prop is None and len(shot.prop) > 1:
            raise click.UsageError("--history writes one prop: say which with --prop NAME.")
        from rigcheck.studies.history import response_history, write_history

        write_history(response_history(shot, prop=prop), history)
    from rigcheck.studies.check import check as check_shot

    result = check_shot(shot, prop=prop)
    if as_json:
        from rigcheck.views.as_json import check_json

        _print_json(check_json(result))
    else:
        from rigcheck.views.terminal import render_check

        render_check(_console(), result, details=details)
    sys.exit(1 if result.verdict == "fail" else 0)


@commands.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--prop", metavar="NAME", help="The prop to choose for, where the shot has several.")
@click.option(
    "--stock",
    "stock_file",
    type=click.Path(path_type=Path),
    help="What you have: a rig file in which each support is one size. All of stock if left out.",
)
@click.option("--pareto", is_flag=True, help="Show which trade visible width against wobble best.")
@click.option("--most", type=click.IntRange(1), default=12, show_default=True, help="How many to show.")
@as_json_option
def choose(
    file: Path, prop: str | None, stock_file: Path | None, pareto: bool, most: int, as_json: bool
) -> None:
    """What to buy: try every stock material and size on a shot, and rank those that pass.

    \b
      rigcheck choose shared/shots/desk-set.toml --prop "paper crane"
    """
    from rigcheck.files import read_rig
    from rigcheck.studies.choose import choose as choose_for
    from rigcheck.views.choose_view import choose_json, render_choice

    own = None if stock_file is None else read_rig(stock_file)
    shot = read_rig(file)
    with _progress() as tell:
        result = choose_for(
            shot,
            prop=prop,
            stock=own,
            pareto=pareto,
            most=most,
            progress=lambda done, total: tell("Candidates", done, total),
        )
    if as_json:
        _print_json(choose_json(result))
    else:
        render_choice(_console(), result)


@commands.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--prop", metavar="NAME", help="Only this prop of the shot.")
@click.option("--profile", metavar="NAME", help="Look at this profile in place of the planned one.")
@click.option(
    "--export",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="Write the shaped move as keyframes (time_s, value).",
)
@click.option("--rate", metavar="VALUE", help='Keys a second, for example "50 fps"; else the frame rate.')
@details_option
@as_json_option
def retime(
    file: Path,
    prop: str | None,
    profile: str | None,
    export: Path | None,
    rate: str | None,
    details: bool,
    as_json: bool,
) -> None:
    """How fast can the move go and still arrive still?

    \b
      rigcheck retime shared/shots/desk-set.toml
      rigcheck retime shared/shots/desk-set.toml --prop notebook --export notebook-keys.csv --rate "50 fps"
    """
    from rigcheck.files import read_rig
    from rigcheck.studies.retime import export_keys
    from rigcheck.studies.retime import retime as retime_shot

    if rate is not None and export is None:
        raise click.UsageError("--rate says how many keys are written: give --export FILE.csv too.")
    shot = read_rig(file)
    if export is not None and prop is None and len(shot.prop) > 1:
        raise click.UsageError("--export writes one prop: say which with --prop NAME.")
    with _progress() as progress:
        result = retime_shot(shot, prop=prop, profile=profile, progress=progress)
    exported = None if export is None else export_keys(shot, result.props[0], export, rate=rate)
    if as_json:
        from rigcheck.views.retime_view import retime_json

        _print_json(retime_json(result, exported))
    else:
        from rigcheck.views.retime_view import render_export, render_retime

        console = _console()
        render_retime(console, result, details=details)
        if exported is not None:
            render_export(console, exported)
    sys.exit(1 if result.verdict == "fail" else 0)


@commands.command()
@click.argument("take", required=False, type=click.Path(path_type=Path))
@click.option(
    "--rig", metavar="FILE", type=click.Path(path_type=Path), help="The rig file; without it, no causes."
)
@click.option("--prop", metavar="NAME", help="The prop that the take shows, where the shot has several.")
@click.option("--fps", metavar="N", type=float, help="Frames a second as shot, for a track without times.")
@click.option("--tap", is_flag=True, help="The prop was tapped with a finger, not moved.")
@click.option("--hung", metavar="MASS", help='Bench test: a mass hung on the prop, for example "200 g", and')
@click.option("--sag", metavar="LENGTH", help='how much farther it then sagged, for example "1.6 mm".')
@click.option(
    "--drive-rate",
    "drive_rates",
    metavar="RATE",
    multiple=True,
    help='A known rate of the drive, for example "steps = 23.5 Hz"; may be given again.',
)
@click.option(
    "--point",
    metavar="PLACE",
    help='Where the followed point is from the centre of mass (right, up, toward): "40mm, 4mm, 60mm".',
)
@click.option(
    "--save",
    metavar="NEWFILE",
    type=click.Path(path_type=Path),
    help="Write the fitted rig to a new rig file.",
)
@click.option("--overwrite", is_flag=True, help="Let --save replace a file that is there.")
@details_option
@as_json_option
def explain(
    take: Path | None,
    rig: Path | None,
    prop: str | None,
    fps: float | None,
    tap: bool,
    hung: str | None,
    sag: str | None,
    drive_rates: tuple[str, ...],
    point: str | None,
    save: Path | None,
    overwrite: bool,
    details: bool,
    as_json: bool,
) -> None:
    """What wobbled in a test take, and what cures it?

    TAKE is the track of a point on the prop: a table with columns frame, time_s, x_px, y_px (or x_mm, y_mm), and
    still_x_px, still_y_px of a fixed point.

    \b
      rigcheck explain shared/takes/notebook-take.csv --rig shared/shots/desk-set.toml --prop notebook
      rigcheck explain shared/takes/notebook-tap.csv --rig shared/shots/desk-set.toml --prop notebook --tap
      rigcheck explain --hung 200g --sag 1.6mm --rig shared/shots/desk-set.toml --prop notebook
    """
    from rigcheck.files import read_rig
    from rigcheck.files.explain_flags import explain_flags

    if take is None and hung is None and sag is None:
        raise click.UsageError("Give a take, or a bench test with --hung and --sag.")
    needs_rig = {"--prop": prop, "--hung": hung, "--sag": sag, "--point": point, "--save": save}
    for flag, given in needs_rig.items():
        if rig is None and given is not None:
            raise click.UsageError(f"{flag} needs the rig file: give --rig FILE too.")
    flags = explain_flags(hung=hung, sag=sag, drive_rates=drive_rates, point=point)
    shot = None if rig is None else read_rig(rig)
    from rigcheck.studies.explain import HungMass
    from rigcheck.studies.explain import explain as explain_take
    from rigcheck.views.explain_view import explain_json, render_explain

    bench = None
    if flags.hung is not None and flags.sag is not None:
        bench = HungMass(mass=flags.hung, sag=flags.sag)
    result = explain_take(
        take,
        shot=shot,
        prop=prop,
        frame_rate=fps,
        tap=tap,
        hung=bench,
        rates=flags.rates,
        point=flags.point,
    )
    if save is not None and rig is not None:
        from rigcheck.studies.explain_save import save_fitted

        save_fitted(result.fitted, rig, save, overwrite=overwrite)
    if as_json:
        _print_json(explain_json(result, saved=save))
    else:
        render_explain(_console(), result, details=details, saved=save)


@commands.command()
@click.argument("words", nargs=-1)
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
        _print_json(stock_json(found))
    else:
        render_stock(_console(), found, details=details)


@commands.command()
def schema() -> None:
    """Print the JSON Schema of the rig file, with which editors complete and check it.

    \b
      rigcheck schema > rig-file.schema.json
    """
    from rigcheck.files import schema as rig_schema

    _print_json(rig_schema())
