"""How fast a point is followed through a video of 1920 x 1080, against how fast the video plays.

Run it as ``python tests/benchmarks/bench_video.py [frames]``. It renders a take with grain and motion blur, encodes
it with the codecs that OpenCV's wheel can write, and follows one point and eight of the background. Decoding may use
every core; wall time and processor time of one run each are shown, and the processor time of the search for points,
which is done once. The figure to reach: faster than it plays at 50 frames a second, on two cores.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

if __name__ == "__main__":
    sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "support")]

import os
import resource

import numpy as np
from figures import Figure
from rendered_takes import RenderedTake, encode

from rigcheck.files.video import propose_points, track_video

RATE = 50.0


def way(times: np.ndarray) -> np.ndarray:
    """A slow move of 600 px in 3 s, then 8 Hz dying down."""
    share = np.clip(times / 3.0, 0.0, 1.0)
    along = share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
    since = np.maximum(times - 3.0, 0.0)
    ringing = np.exp(-0.2 * since) * np.sin(2 * np.pi * 8.0 * since)
    return np.stack([600.0 + 600.0 * along, 540.0 + 2.0 * ringing, 0.0 * times], axis=1)


def main() -> None:
    """Print a table."""
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    take = RenderedTake(way=way, frames=frames, rate=RATE, width=1920, height=1080, prop=(400.0, 300.0))
    print(f"{frames} frames of 1920 x 1080, one point and the background, against {RATE:g} frames a second")
    print(f"load of this machine before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"{'':10}{'frames/s':>10}{'x playing':>11}{'per CPU s':>11}{'search CPU s':>14}{'error':>11}")
    with tempfile.TemporaryDirectory() as folder:
        for codec, ending in (("mp4v", "mp4"), ("MJPG", "avi")):
            path = encode(take.pictures(), Path(folder) / f"take.{ending}", rate=RATE, codec=codec)
            before = time.process_time()
            proposals = propose_points(path)
            search = time.process_time() - before
            start, before = time.perf_counter(), time.process_time()
            track = track_video(path, proposals=proposals)
            wall, cpu = time.perf_counter() - start, time.process_time() - before
            error = np.sqrt(np.nanmean((track.positions - take.truth(track.point)) ** 2))
            speed = frames / wall
            print(
                f"{codec:10}{speed:10.0f}{speed / RATE:10.1f}x{frames / cpu:11.0f}{search:14.2f}"
                f"{error:8.3f} px"
            )
            if codec == "mp4v":
                Figure(
                    what="video at 1080p followed, times playing speed",
                    value=speed / RATE,
                    unit="",
                    target=1.0,
                    least=True,
                ).tell()
                Figure(
                    what="error of the followed point", value=float(error), unit="px rms", target=0.1
                ).tell()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"peak memory {peak:.0f} MB, rendering included")


if __name__ == "__main__":
    main()
