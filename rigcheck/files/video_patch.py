"""Following one patch of a picture through later pictures, always against its first look.

A small square around the point is the reference. In each later picture the position, turn, size and skew of that
square are found that maximise the enhanced correlation coefficient of Evangelidis and Psarakis, "Parametric Image
Alignment Using Enhanced Correlation Coefficient Maximization", IEEE Transactions on Pattern Analysis and Machine
Intelligence 30 (2008), by OpenCV. The coefficient does not change with brightness and contrast, so a flickering lamp
does no harm. Because each picture is compared with the first and never with the one before, errors do not add up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.files.video_frames import Frame, Picture, load_cv2

__all__ = ["HALF_SIZE", "SMALL_HALF", "Found", "Lost", "Patch", "expected_error"]

FloatArray = NDArray[np.float64]

HALF_SIZE = 20
"""Half the side of the square that is followed, without its middle, unless told otherwise [px]."""

SMALL_HALF = 12
"""The same for small props [px]; below, the blur of the edges shifts the result by more than it should."""

_REACH = 24  # px around where the point is expected, at first
_WIDEST = 200  # px around where it was last seen, when it has been lost for a while
_SURE = 0.9  # a match from here on is not doubted
_LEAST_MATCH = 0.6  # below, it is another thing; much blur leaves about that
_LEAST_AGAIN = 0.9  # where it is found again, or far from where it was expected
_LEAST_SIDE = 0.6  # of the worst side, for what rests
_MOST_RETURN = 0.5  # px between the way there and the way back
_SIZES = (0.4, 2.5)  # of the square against the first look
_MOST_CHANGE = 0.3  # of turn, size and skew between two frames
_SMOOTHING = 3  # px, against grain
_STEPS = 40
_ACCURACY = 1e-5
_TURNED = 0.05  # from here on the square is turned before it is searched


@dataclass(frozen=True, kw_only=True)
class Found:
    """Where a patch was found.

    Attributes
    ----------
    place : ndarray, (2,)
        The point, x to the right and y down from the middle of the first pixel [px].
    match : float
        Correlation with the first look, 1 at most.
    way_back : float
        How far from the point one lands when the patch found is in turn followed back into the first picture by an
        independent method (Lucas and Kanade) [px].
    side : float
        Correlation with the first look along the side of the square where it is least: a square that shows two things
        which part later agrees on one side only.
    """

    place: FloatArray
    match: float
    way_back: float
    side: float


@dataclass(frozen=True, kw_only=True)
class Lost:
    """Why a patch was not found.

    Attributes
    ----------
    why : str
        In plain words.
    """

    why: str


class Patch:
    """A small square of the first picture, to be found in later ones.

    Parameters
    ----------
    frame : Frame
        The first picture.
    point : ndarray, (2,)
        Where, at least `half` pixels from every edge [px].
    half : int, optional
        Half the side of the square, without its middle [px].
    rests : bool, optional
        Whether it belongs to the background: then it is looked for about its place only, and a frame in which
        something comes before it is left out rather than used.
    """

    def __init__(
        self, frame: Frame, point: FloatArray, half: int = HALF_SIZE, *, rests: bool = False
    ) -> None:
        self._cv2: Any = load_cv2()
        middle = np.rint(point).astype(int)
        left, top = middle - half
        self.half = half
        self.first: Picture = frame.grey(left, top, left + 2 * half + 1, top + 2 * half + 1).copy()
        self._inside = np.append(half + point - middle, 1.0)  # the point in the square
        self._linear = np.eye(2)
        self._place = point.astype(np.float64)
        self.start = self._place
        self._step = np.zeros(2)
        self._lost = 0
        self._rests = rests

    def follow(self, frame: Frame) -> Found | Lost:
        """Find the square in the next picture.

        Parameters
        ----------
        frame : Frame
            The picture after the one before.

        Returns
        -------
        Found or Lost
            Where it is, or why it is not found; the next picture may find it again.
        """
        expected = self._place + self._step
        best, warp = self._align(frame, expected, self._linear)
        least = _LEAST_MATCH if self._lost == 0 else _LEAST_AGAIN
        if warp is None or best < _SURE:
            reach = _REACH if self._rests else min(_REACH * (2 + self._lost), _WIDEST)
            coarse = self._search(frame, expected, reach)
            if coarse is not None:
                other, other_warp = self._align(frame, coarse, self._linear)
                # Far from where it should be, only a clear match is believed.
                if other_warp is not None and other > max(best, _LEAST_AGAIN):
                    best, warp = other, other_warp
        height, width = frame.shape
        if warp is None or best < least:
            outside = not (0 <= expected[0] < width and 0 <= expected[1] < height)
            return self._give_up(
                "it left the picture" if outside else "nothing there looks like the first frame"
            )
        found = self._carried_back(frame, warp)
        way_back = np.inf if found is None else self._way_back(found)
        if found is None or way_back > _MOST_RETURN:
            return self._give_up("the match is not clear in every direction")
        side = self._side(found)
        if self._rests and side < _LEAST_SIDE:
            return self._give_up("something is before it")
        place = warp @ self._inside
        # Where it was lost meanwhile, the way of one frame is not known.
        self._step = place - self._place if self._lost == 0 and not self._rests else np.zeros(2)
        self._lost = 0
        self._place, self._linear = place, warp[:, :2]
        return Found(place=place, match=best, way_back=way_back, side=side)

    def _give_up(self, why: str) -> Lost:
        self._lost += 1
        self._step = np.zeros(2)
        if self._rests:
            self._place, self._linear = self.start, np.eye(2)
        return Lost(why=why)

    def _region(self, frame: Frame, middle: FloatArray, half: int) -> tuple[Picture, FloatArray] | None:
        """Cut a region around a place, and say where it starts; None where too little of it is in the picture."""
        height, width = frame.shape
        left, top = np.maximum(np.floor(middle).astype(int) - half, 0)
        right, bottom = np.minimum(np.floor(middle).astype(int) + half + 1, [width, height])
        if right - left < 2 * self.half + 1 or bottom - top < 2 * self.half + 1:
            return None
        return frame.grey(left, top, right, bottom), np.array([left, top], dtype=np.float64)

    def _align(self, frame: Frame, place: FloatArray, linear: FloatArray) -> tuple[float, FloatArray | None]:
        """Refine from a guess; the match, and what carries the square into the picture, shape (2, 3)."""
        region = self._region(frame, place, int(1.5 * self.half) + _REACH)
        if region is None:
            return 0.0, None
        picture, corner = region
        start = np.empty((2, 3), dtype=np.float32)
        start[:, :2] = linear
        start[:, 2] = place - corner - linear @ self._inside[:2]
        criteria = (self._cv2.TERM_CRITERIA_EPS | self._cv2.TERM_CRITERIA_COUNT, _STEPS, _ACCURACY)
        try:
            match, carry = self._cv2.findTransformECC(
                self.first, picture, start, self._cv2.MOTION_AFFINE, criteria, None, _SMOOTHING
            )
        except self._cv2.error:  # it did not converge, or a picture is of one shade
            return 0.0, None
        warp: FloatArray = np.asarray(carry, dtype=np.float64)
        warp[:, 2] += corner
        sizes = np.linalg.svd(warp[:, :2], compute_uv=False) if np.isfinite(warp).all() else np.zeros(2)
        if sizes[1] < _SIZES[0] or sizes[0] > _SIZES[1] or np.abs(warp[:, :2] - linear).max() > _MOST_CHANGE:
            return 0.0, None
        return float(match), warp

    def _search(self, frame: Frame, place: FloatArray, reach: int) -> FloatArray | None:
        """Look for the square within some pixels, to a whole pixel."""
        region = self._region(frame, place, self.half + reach)
        if region is None:
            return None
        picture, corner = region
        square = self.first
        margin = 0
        if np.abs(self._linear - np.eye(2)).max() > _TURNED:
            middle = np.full(2, float(self.half))
            back = np.linalg.inv(self._linear)
            carry = np.column_stack([back, middle - back @ middle]).astype(np.float32)
            flags = self._cv2.INTER_LINEAR | self._cv2.WARP_INVERSE_MAP
            margin = 6  # corners of the turned square lie outside the first look
            turned = self._cv2.warpAffine(
                square, carry, square.shape, flags=flags, borderMode=self._cv2.BORDER_REFLECT_101
            )
            square = turned[margin:-margin, margin:-margin]
        scores = self._cv2.matchTemplate(picture, square, self._cv2.TM_CCOEFF_NORMED)
        row, column = np.unravel_index(int(np.argmax(scores)), scores.shape)
        if not scores[row, column] > 0.5 * _LEAST_MATCH:
            return None
        # The square found starts that margin further in than the first look does.
        there: FloatArray = corner + np.array([column, row]) - margin + self._inside[:2]
        return there

    def _way_back(self, carried: Picture) -> float:
        """Follow the patch found back into the first picture, and say how far from the point that ends [px]."""
        found = carried.astype(np.float64)
        spread = found.std()
        if not spread > 0.0:
            return np.inf
        alike = self.first.mean() + (found - found.mean()) * (self.first.std() / spread)
        alike = np.clip(np.rint(alike), 0, 255).astype(np.uint8)
        point = np.full((1, 1, 2), float(self.half), dtype=np.float32)
        window = (2 * self.half - 5,) * 2
        there, status, _ = self._cv2.calcOpticalFlowPyrLK(
            alike, self.first, point, None, winSize=window, maxLevel=1
        )
        return float(np.hypot(*(there[0, 0] - point[0, 0]))) if status[0, 0] else np.inf

    def _side(self, found: Picture) -> float:
        """Correlate each of the four sides, a strip of a tenth of the square, with the first look; the least."""
        strip = max((2 * self.half + 1) // 10, 3)
        first, worst = self.first, 1.0
        for _ in range(4):
            pair = np.stack([found[:strip].ravel(), first[:strip].ravel()]).astype(np.float64)
            pair -= pair.mean(axis=1, keepdims=True)
            size = float(np.linalg.norm(pair, axis=1).prod())
            worst = min(worst, float(pair[0] @ pair[1]) / size if size > 0.0 else 1.0)
            found, first = np.rot90(found), np.rot90(first)
        return worst

    def _carried_back(self, frame: Frame, warp: FloatArray) -> Picture | None:
        """Give the square found, as it would lie in the first picture."""
        region = self._region(frame, warp @ np.array([self.half, self.half, 1.0]), 3 * self.half)
        if region is None:
            return None
        picture, corner = region
        carry = warp.copy()
        carry[:, 2] -= corner
        flags = self._cv2.INTER_LINEAR | self._cv2.WARP_INVERSE_MAP
        found: Picture = self._cv2.warpAffine(
            picture, carry, self.first.shape, flags=flags, borderMode=self._cv2.BORDER_REFLECT_101
        )
        return found


def expected_error(square: Picture) -> float:
    """Say how well a square can be followed by what is drawn on it.

    Parameters
    ----------
    square : ndarray of uint8
        The square.

    Returns
    -------
    float
        Standard error of the place in the worse direction [px]; infinite on a plain surface.

    Notes
    -----
    With independent noise s on each pixel and the gradient g, least squares give the covariance s^2 (sum g g^T)^-1
    (Lucas and Kanade 1981; its least eigenvalue is the corner measure of Shi and Tomasi, "Good Features to Track",
    1994). s is estimated by Immerkær, "Fast Noise Variance Estimation", Computer Vision and Image Understanding 64
    (1996), but taken as one grey level at least. Noise has a gradient too, which is taken off.
    """
    values = square.astype(np.float64)
    inner = values[1:-1, 1:-1]
    laplacian = (
        4.0 * inner
        - 2.0 * (values[:-2, 1:-1] + values[2:, 1:-1] + values[1:-1, :-2] + values[1:-1, 2:])
        + (values[:-2, :-2] + values[:-2, 2:] + values[2:, :-2] + values[2:, 2:])
    )
    # The median in place of Immerkær's mean, so that edges count less; 0.6745 is the median of a unit normal's size.
    noise = max(float(np.median(np.abs(laplacian))) / (6.0 * 0.6745), 1.0)
    across = 0.5 * (values[1:-1, 2:] - values[1:-1, :-2])
    down = 0.5 * (values[2:, 1:-1] - values[:-2, 1:-1])
    products = np.array(
        [[(across * across).sum(), (across * down).sum()], [(across * down).sum(), (down * down).sum()]]
    )
    # A central difference of independent noise has the variance s^2 / 2.
    least = float(np.linalg.eigvalsh(products)[0]) - 0.5 * noise**2 * across.size
    # What is left has to stand clear of the scatter of that sum itself.
    if least < 2.0 * noise**2 * np.sqrt(across.size):
        return float("inf")
    return noise / float(np.sqrt(least))
