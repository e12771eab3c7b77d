"""The command ``rigcheck explain``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rigcheck.cli.figures import figure_target, write_figure
from rigcheck.cli.options import (
    as_json_option,
    details_option,
    figure_option,
    overwrite_option,
    prop_option,
)
from rigcheck.cli.running import console, print_json, progress
from rigcheck.cli.words import plain

if TYPE_CHECKING:
    from rigcheck.files.takes import Take
    from rigcheck.model.shot import Shot

__all__ = ["explain"]


@click.command()
@click.argument("take", required=False, type=click.Path(path_type=Path))
@click.option(
    "--rig", metavar="FILE", type=click.Path(path_type=Path), help="The rig file; without it, no causes."
)
@prop_option("The prop that the take shows, where the shot has several.")
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
@click.option(
    "--follow",
    metavar="X,Y",
    help="In a video: the point to follow, in pixels of the first frame, or the number of a proposed one.",
)
@click.option(
    "--still",
    metavar="X,Y",
    multiple=True,
    help="In a video: a point of the background, against camera shake; may be given again, or none.",
)
@click.option("--square", metavar="PX", type=int, help="In a video: side of the square followed, 25 to 201.")
@click.option(
    "--track-to",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="Write the track of a video, for use again.",
)
@click.option(
    "--marks",
    metavar="FILE.png",
    type=click.Path(path_type=Path),
    help="Write the first frame of a video with the proposed points numbered.",
)
@figure_option
@overwrite_option
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
    follow: str | None,
    still: tuple[str, ...],
    square: int | None,
    track_to: Path | None,
    marks: Path | None,
    figure: Path | None,
    overwrite: bool,
    details: bool,
    as_json: bool,
) -> None:
    """What wobbled in a test take, and what cures it?

    TAKE is the track of a point on the prop: a table with columns frame, time_s, x_px, y_px (or x_mm, y_mm), and
    still_x_px, still_y_px of a fixed point. Or it is the video itself (with the extra "video" installed): a point is
    proposed or named, and followed.

    \b
      rigcheck explain shared/takes/notebook-take.csv \\
        --rig shared/shots/desk-set.toml --prop notebook
      rigcheck explain shared/takes/notebook-tap.csv --tap \\
        --rig shared/shots/desk-set.toml --prop notebook
      rigcheck explain take.mp4 --track-to take.csv \\
        --rig shared/shots/desk-set.toml --prop notebook
      rigcheck explain --hung 200g --sag 2.8mm \\
        --rig shared/shots/desk-set.toml --prop notebook
    """
    from rigcheck.files import read_rig
    from rigcheck.files.explain_flags import explain_flags

    if take is None and hung is None and sag is None:
        raise click.UsageError("Give a take, or a bench test with --hung and --sag.")
    figure_target(figure, overwrite=overwrite)
    needs_rig = {"--prop": prop, "--hung": hung, "--sag": sag, "--point": point, "--save": save}
    for flag, given in (*needs_rig.items(), ("--drive-rate", drive_rates or None)):
        if rig is None and given is not None:
            raise click.UsageError(f"{flag} needs the rig file: give --rig FILE too.")
    flags = explain_flags(hung=hung, sag=sag, drive_rates=drive_rates, point=point)
    shot = None if rig is None else read_rig(rig)
    from rigcheck.studies.explain.study import HungMass
    from rigcheck.studies.explain.study import explain as explain_take
    from rigcheck.views.explain_view import explain_json, render_explain

    bench = None
    if flags.hung is not None and flags.sag is not None:
        bench = HungMass(mass=flags.hung, sag=flags.sag)
    video_flags = {
        "--follow": follow,
        "--still": still,
        "--square": square,
        "--track-to": track_to,
        "--marks": marks,
    }
    result = explain_take(
        _track(take, shot, fps, video_flags, overwrite=overwrite),
        shot=shot,
        prop=prop,
        frame_rate=fps,
        tap=tap,
        hung=bench,
        rates=flags.rates,
        point=flags.point,
    )
    if save is not None and rig is not None:
        from rigcheck.studies.explain.save import save_fitted

        save_fitted(result.fitted, rig, save, overwrite=overwrite)
    if figure is not None:
        from rigcheck.views.figures import explain_figure

        write_figure(figure, explain_figure(result), overwrite=overwrite)
    if as_json:
        print_json(explain_json(result, saved=save))
    else:
        render_explain(console(), result, details=details, saved=save)


def _track(
    take: Path | None, shot: Shot | None, fps: float | None, flags: dict[str, Any], *, overwrite: bool
) -> Take | Path | None:
    """The take to explain: of a video the track of a point, of a table its file."""
    from rigcheck.files.video_frames import is_video

    if take is None or not is_video(take):
        for flag, given in flags.items():
            if given:
                raise click.UsageError(f"{flag} belongs to a take that is a video (.mp4, .mov, .avi ...).")
        return take
    from rigcheck.files.video_flags import follow_video
    from rigcheck.studies.explain.study import rate_as_shot

    rate, rate_from = rate_as_shot(shot, fps)
    with progress() as tell:
        followed = follow_video(
            take,
            follow=flags["--follow"],
            still=flags["--still"],
            square=flags["--square"],
            track_to=flags["--track-to"],
            marks=flags["--marks"],
            frame_rate=rate,
            rate_from=rate_from,
            overwrite=overwrite,
            progress=lambda done, total: tell("Frames", done, total),
        )
    for line in followed.says:
        click.echo(plain(line), err=True)
    return followed.track.take
