"""The frames of a video file, one at a time, in grey, with plain words for files that cannot be read.

Decoding is OpenCV's, the optional extra ``video``. It is imported where it is used, so that all else works without.
"""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import InputError, Problem, RigcheckError, reason_of
from rigcheck.files.missing import missing_file

__all__ = [
    "MOST_FRAMES",
    "VIDEO_SUFFIXES",
    "Frame",
    "FrameSource",
    "Video",
    "VideoInfo",
    "is_video",
    "load_cv2",
    "opened",
]

Picture = NDArray[np.uint8]

VIDEO_SUFFIXES = frozenset(
    {
        ".3gp",
        ".avi",
        ".m2ts",
        ".m4v",
        ".mkv",
        ".mov",
        ".mp4",
        ".mpeg",
        ".mpg",
        ".mts",
        ".mxf",
        ".ts",
        ".webm",
        ".wmv",
    }
)
"""Endings of file names that are taken for video."""

MOST_FRAMES = 500_000
"""Most frames of a video."""

_MOST_PIXELS = 70_000_000  # of one picture: 8K is 33 million
_THIN = 8  # every eighth pixel tells whether a frame repeats the one before
_TEXT = frozenset(range(32, 127)) | {9, 10, 13}
_PLAYED = (1.0, 1000.0)  # Hz; a frame rate in the file outside this is not believed


def load_cv2() -> ModuleType:
    """Import OpenCV, quiet and reading files only.

    Raises
    ------
    RigcheckError
        The extra is not installed.
    """
    # Read once, at the first use; what the user has set stays. What a decoder complains about is told in our words,
    # and a file that names another place (a play list) is not followed to the network.
    quiet = "OPENCV_LOG_LEVEL" not in os.environ
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    os.environ.setdefault("OPENCV_FFMPEG_CAPTURE_OPTIONS", "protocol_whitelist;file")
    try:
        import cv2
    except ImportError as error:
        raise RigcheckError(
            "Reading a video needs the extra `video`, which is not installed here:\n"
            '  pip install "rigcheck[video]"\n'
            "Or track the point in another program and give its CSV (frame, x_px, y_px)."
        ) from error
    if quiet:
        cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    return cv2


def is_video(path: str | Path) -> bool:
    """Whether a file is taken for video rather than for a table, by the ending of its name."""
    return Path(path).suffix.lower() in VIDEO_SUFFIXES


@dataclass(frozen=True, kw_only=True)
class VideoInfo:
    """What a video file says about itself.

    Attributes
    ----------
    width, height : int
        Of the picture [px], upright.
    rate : float or None
        Frames a second at which it plays [Hz]; None where the file does not say, or nothing that can be.
    promised : int or None
        How many frames it says it has; often an estimate.
    """

    width: int
    height: int
    rate: float | None
    promised: int | None


class Frame:
    """One frame of a video.

    Attributes
    ----------
    number : int
        Counted from 0.
    time : float
        When it is shown [s], as the file says.
    thin : ndarray of uint8
        Every eighth pixel in grey, to compare frames by.
    """

    def __init__(self, cv2: Any, number: int, time: float, picture: Picture) -> None:
        self._cv2 = cv2
        self.number = number
        self.time = time
        self.picture = picture
        self.thin: Picture = self._as_grey(np.ascontiguousarray(picture[::_THIN, ::_THIN]))

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width [px]."""
        return self.picture.shape[0], self.picture.shape[1]

    def grey(
        self, left: int = 0, top: int = 0, right: int | None = None, bottom: int | None = None
    ) -> Picture:
        """Give a region in grey; only that region is converted."""
        return self._as_grey(self.picture[top:bottom, left:right])

    def _as_grey(self, picture: Picture) -> Picture:
        if picture.ndim == 2:
            return picture
        grey: Picture = self._cv2.cvtColor(picture, self._cv2.COLOR_BGR2GRAY)
        return grey


class FrameSource:
    """Frames from pictures in memory or made one by one, for what is no file."""

    def __init__(self, pictures: Any, rate: float, source: str = "frames") -> None:
        self.pictures = pictures
        self.source = source
        first = next(iter(pictures))
        self.info = VideoInfo(width=first.shape[1], height=first.shape[0], rate=rate, promised=None)

    def frames(self) -> Iterator[Frame]:
        """Give the frames from the first; may be called again."""
        cv2 = load_cv2()
        rate = self.info.rate or 1.0
        for number, picture in enumerate(self.pictures):
            yield Frame(cv2, number, number / rate, picture)


class Video:
    """A video file: what it says, and its frames one at a time.

    Parameters
    ----------
    path : str or Path
        The file.

    Raises
    ------
    InputError
        There is no such file, it is no video, or it has no frames.
    RigcheckError
        The extra ``video`` is not installed.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self.source = str(path)
        self._look()
        self._cv2: Any = load_cv2()
        with self._open() as capture:
            self.info = self._info(capture)

    def frames(self) -> Iterator[Frame]:
        """Give the frames from the first, one at a time; may be called again.

        Raises
        ------
        InputError
            A frame cannot be decoded, or there are too many.
        """
        with self._open() as capture:
            number = 0
            while True:
                picture, time = self._next(capture, number)
                if picture is None:
                    break
                if number >= MOST_FRAMES:
                    _stop(
                        self.source,
                        f"has more than {MOST_FRAMES:,} frames.",
                        "Cut it to the part around the stop.",
                    )
                if picture.shape[:2] != (self.info.height, self.info.width):
                    _stop(
                        self.source,
                        f"changes the size of its picture at frame {number}.",
                        "Export it again at one size.",
                    )
                yield Frame(self._cv2, number, time, picture)
                number += 1
        if number == 0:
            _stop(self.source, "has no frame that can be decoded.", _EXPORT)

    def _look(self) -> None:
        """Find what can be said without decoding."""
        try:
            status = self.path.stat()
        except FileNotFoundError:
            raise missing_file(self.path) from None
        except (OSError, ValueError) as error:
            _stop(self.source, f"cannot be opened: {reason_of(error)}.")
        if stat.S_ISDIR(status.st_mode):
            _stop(self.source, "is a folder; a video file is needed.")
        if not stat.S_ISREG(status.st_mode):
            _stop(self.source, "is no ordinary file; a video file is needed.")
        try:
            with self.path.open("rb") as stream:
                start = stream.read(4096)
        except OSError as error:
            _stop(self.source, f"cannot be opened: {reason_of(error)}.")
        if not start:
            _stop(self.source, "is empty.", "Copy it again from the camera.")
        if _TEXT.issuperset(start):
            _stop(self.source, "is text, not a video.", "A track of a point has to end in .csv or .txt.")

    @contextlib.contextmanager
    def _open(self) -> Iterator[Any]:
        cv2 = self._cv2
        # A whole path: a bare name could be read as a pattern of many files or as an address.
        capture = cv2.VideoCapture(str(self.path.resolve()), cv2.CAP_FFMPEG)
        try:
            if not capture.isOpened():
                _stop(
                    self.source,
                    "cannot be read as a video: it is damaged, cut short, or of an unknown kind.",
                    _EXPORT,
                )
            yield capture
        finally:
            capture.release()

    def _info(self, capture: Any) -> VideoInfo:
        cv2 = self._cv2
        width, height = (
            int(capture.get(key)) for key in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT)
        )
        rate, promised = capture.get(cv2.CAP_PROP_FPS), capture.get(cv2.CAP_PROP_FRAME_COUNT)
        if width < 1 or height < 1:
            _stop(self.source, "has no picture.", _EXPORT)
        if width * height > _MOST_PIXELS:
            _stop(
                self.source,
                f"has pictures of {width} x {height} px; {_MOST_PIXELS // 1_000_000} million pixels at most.",
                "Export it smaller, or cut out the part with the prop.",
            )
        return VideoInfo(
            width=width,
            height=height,
            rate=float(rate) if _PLAYED[0] <= rate <= _PLAYED[1] else None,
            promised=int(promised) if 0 < promised < 1e9 else None,
        )

    def _next(self, capture: Any, number: int) -> tuple[Picture | None, float]:
        """Decode one frame; None at the end."""
        try:
            if not capture.grab():
                return None, 0.0
            time = 1e-3 * float(capture.get(self._cv2.CAP_PROP_POS_MSEC))
            whole, picture = capture.retrieve()
        except self._cv2.error:
            _stop(self.source, f"cannot be decoded from frame {number} on.", _EXPORT)
        if not whole or picture is None:
            return None, 0.0
        if picture.dtype != np.uint8:
            _stop(
                self.source,
                f"has {picture.dtype} pixels; 8 bits are read.",
                "Export it with 8 bits a channel.",
            )
        return picture, time


_EXPORT = "Play it to see whether it is whole, and export it again (H.264 in .mp4, or Motion JPEG in .avi)."


def _stop(source: str, says: str, hint: str | None = None) -> NoReturn:
    raise InputError(source, [Problem(where="the file", says=says, hint=hint)])


def opened(path: str | Path | Video | FrameSource) -> Video | FrameSource:
    """Give a video, whether its file or itself is named.

    Parameters
    ----------
    path : str, Path, Video or FrameSource
        The file, or what is open already.

    Returns
    -------
    Video or FrameSource
    """
    return path if isinstance(path, Video | FrameSource) else Video(path)
