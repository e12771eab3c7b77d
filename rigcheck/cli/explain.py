"""The command ``rigcheck explain``."""

from __future__ import annotations

from pathlib import Path

import click

from rigcheck.cli.options import as_json_option, details_option
from rigcheck.cli.running import console, print_json

__all__ = ["explain"]


@click.command()
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
        print_json(explain_json(result, saved=save))
    else:
        render_explain(console(), result, details=details, saved=save)
