"""Rendered takes: a textured prop over a textured background, with motion known exactly.

Both textures are sums of plane waves, so they exist at every point and not only on pixels: a shift by a hundredth of
a pixel is exact, and so is the blur. Over a shutter the phase of each wave is averaged in many steps before the wave
is drawn. Only along the outline of the prop is the blur approximate (mean outline times mean texture).

Pictures count from the middle of the first pixel, x to the right and y down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rigcheck.files.video_frames import load_cv2

FloatArray = NDArray[np.float64]

STEPS = 24  # of the shutter


def _still(times: FloatArray) -> FloatArray:
    return np.zeros((times.size, 3))


def texture(
    rng: np.random.Generator, *, waves: int = 48, shortest: float = 6.0, longest: float = 60.0
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Wave vectors (n, 2) [rad/px], phases (n,) and amplitudes (n,) of a texture of unit variance."""
    length = np.exp(rng.uniform(np.log(shortest), np.log(longest), waves))
    angle = rng.uniform(0.0, np.pi, waves)
    vectors = (2.0 * np.pi / length)[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    amplitude = length**0.5
    return vectors, rng.uniform(0.0, 2.0 * np.pi, waves), amplitude * np.sqrt(2.0 / (amplitude**2).sum())


@dataclass(frozen=True, kw_only=True)
class RenderedTake:
    """A take to be rendered.

    Attributes
    ----------
    way : callable
        Times (m,) [s] to places (m, 3): the middle of the prop x, y [px] and its turn [rad].
    shake : callable
        The same for the whole picture about its middle.
    frames : int
    rate : float
        Frames a second [Hz].
    width, height : int
        Of the picture [px].
    prop : tuple of float
        Width and height of the prop [px].
    shutter : float
        Share of the time between two frames that the shutter is open.
    grain : float
        Standard deviation of the noise in each pixel [grey levels].
    brightness : callable or None
        Frame number to a factor on the light.
    """

    way: Callable[[FloatArray], FloatArray]
    shake: Callable[[FloatArray], FloatArray] = _still
    frames: int = 100
    rate: float = 50.0
    width: int = 320
    height: int = 240
    prop: tuple[float, float] = (110.0, 90.0)
    shutter: float = 0.5
    grain: float = 2.0
    brightness: Callable[[int], float] | None = None
    seed: int = 1
    waves: int = 48

    def moments(self, frame: int) -> FloatArray:
        """Moments of one exposure [s]."""
        return (frame + self.shutter * (np.arange(STEPS) + 0.5) / STEPS) / self.rate

    def truth(self, point: tuple[float, float]) -> FloatArray:
        """Where a point of the prop, named in the first frame, is in each frame: the mean over the shutter (n, 2)."""
        return self._carried(point, on_prop=True)

    def background_truth(self, point: tuple[float, float]) -> FloatArray:
        """The same for a point of the background."""
        return self._carried(point, on_prop=False)

    def _places(self, frame: int, *, on_prop: bool) -> tuple[FloatArray, FloatArray]:
        """Places of the origin (STEPS, 2) and turns (STEPS,) of the prop or the background in one exposure."""
        moments = self.moments(frame)
        shake = self.shake(moments)
        middle = 0.5 * np.array([self.width - 1, self.height - 1])
        own = self.way(moments) if on_prop else np.tile([*middle, 0.0], (STEPS, 1))
        from_middle = own[:, :2] - middle
        cos, sin = np.cos(shake[:, 2]), np.sin(shake[:, 2])
        turned = np.stack(
            [
                cos * from_middle[:, 0] - sin * from_middle[:, 1],
                sin * from_middle[:, 0] + cos * from_middle[:, 1],
            ],
            axis=1,
        )
        return middle + turned + shake[:, :2], own[:, 2] + shake[:, 2]

    def _carried(self, point: tuple[float, float], *, on_prop: bool) -> FloatArray:
        # What the first frame shows is its mean over the shutter too.
        origin, turn = (value.mean(axis=0) for value in self._places(0, on_prop=on_prop))
        away = np.asarray(point) - origin
        cos, sin = np.cos(turn), np.sin(turn)
        local = np.array([cos * away[0] + sin * away[1], -sin * away[0] + cos * away[1]])
        track = np.empty((self.frames, 2))
        for frame in range(self.frames):
            places, turns = self._places(frame, on_prop=on_prop)
            cos, sin = np.cos(turns), np.sin(turns)
            track[frame] = np.mean(
                places + np.stack([cos * local[0] - sin * local[1], sin * local[0] + cos * local[1]], axis=1),
                axis=0,
            )
        return track

    def pictures(self) -> Iterator[NDArray[np.uint8]]:
        """Grey pictures of 8 bits, one for each frame."""
        rng = np.random.default_rng(self.seed)
        prop_waves, ground_waves = texture(rng, waves=self.waves), texture(rng, waves=self.waves)
        x, y = np.arange(self.width, dtype=np.float64), np.arange(self.height, dtype=np.float64)
        resting = self.shake is _still
        ground = None
        for frame in range(self.frames):
            if ground is None or not resting:
                ground = 120.0 + 32.0 * self._waves(ground_waves, *self._places(frame, on_prop=False), x, y)
            picture = ground.copy()
            places, turns = self._places(frame, on_prop=True)
            reach = 0.5 * np.hypot(*self.prop) + 3.0
            low = np.maximum(np.floor(places.min(axis=0) - reach), 0).astype(int)
            high = np.maximum(np.ceil(places.max(axis=0) + reach).astype(int) + 1, 0)
            part = slice(low[1], high[1]), slice(low[0], high[0])
            xs, ys = x[part[1]], y[part[0]]
            if xs.size and ys.size:
                drawn = 140.0 + 40.0 * self._waves(prop_waves, places, turns, xs, ys)
                cover = self._cover(places, turns, xs, ys)
                picture[part] = cover * drawn + (1.0 - cover) * picture[part]
            if self.brightness is not None:
                picture *= self.brightness(frame)
            picture += rng.normal(0.0, self.grain, picture.shape) if self.grain else 0.0
            yield np.clip(np.rint(picture), 0, 255).astype(np.uint8)

    def _waves(
        self,
        waves: tuple[FloatArray, FloatArray, FloatArray],
        places: FloatArray,
        turns: FloatArray,
        x: FloatArray,
        y: FloatArray,
    ) -> FloatArray:
        """Draw a texture, averaged over the shutter, as the real part of a product of two thin matrices."""
        vectors, phases, amplitudes = waves
        turn = turns.mean()  # within one exposure the turn is small: its own blur is left out
        cos, sin = np.cos(turn), np.sin(turn)
        a = cos * vectors[:, 0] - sin * vectors[:, 1]
        b = sin * vectors[:, 0] + cos * vectors[:, 1]
        blurred = np.exp(-1j * (np.outer(places[:, 0], a) + np.outer(places[:, 1], b))).mean(axis=0)
        factor = amplitudes * blurred * np.exp(1j * phases)
        return np.real((np.exp(1j * np.outer(y, b)) * factor) @ np.exp(1j * np.outer(a, x)))

    def _cover(self, places: FloatArray, turns: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
        """How much of each pixel the prop covers, averaged over the shutter, with an edge of one pixel."""
        total = np.zeros((y.size, x.size))
        some = range(0, STEPS, 4)
        for step in some:
            cos, sin = np.cos(turns[step]), np.sin(turns[step])
            across, down = x - places[step, 0], (y - places[step, 1])[:, None]
            edge_x = np.clip(0.5 * self.prop[0] + 0.5 - np.abs(cos * across + sin * down), 0.0, 1.0)
            edge_y = np.clip(0.5 * self.prop[1] + 0.5 - np.abs(-sin * across + cos * down), 0.0, 1.0)
            total += edge_x * edge_y
        return total / len(some)


class Again:
    """Pictures that can be gone through more than once, made anew each time."""

    def __init__(self, take: RenderedTake) -> None:
        self.take = take

    def __iter__(self) -> Iterator[NDArray[np.uint8]]:
        return self.take.pictures()


def encode(pictures, path: Path, *, rate: float, codec: str = "mp4v") -> Path:
    """Write pictures to a video file with a codec that OpenCV's wheel has: mp4v (.mp4), MJPG or FFV1 (.avi)."""
    cv2 = load_cv2()
    writer = None
    for picture in pictures:
        if writer is None:
            size = (picture.shape[1], picture.shape[0])
            writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, cv2.VideoWriter_fourcc(*codec), rate, size)
            assert writer.isOpened(), codec
        writer.write(np.repeat(picture[:, :, None], 3, axis=2))
    if writer is not None:
        writer.release()
    return path
