"""What the timing of a shot's moves hands back."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rigcheck.motion.shaping import Shaper
from rigcheck.studies.results import Status
from rigcheck.studies.words import share_words

__all__ = [
    "FREQUENCY_ERROR",
    "OFF_WORDS",
    "Curve",
    "ExportedKeys",
    "ModeShare",
    "MoveTiming",
    "NullTime",
    "ProfileTimes",
    "PropRetiming",
    "Recommendation",
    "RetimeResult",
    "ShapedMove",
    "Timing",
]

FREQUENCY_ERROR = 0.1
"""How far off the computed frequencies may be for a timing that is called sure: a choice, and common practice."""
OFF_WORDS = share_words(FREQUENCY_ERROR)


@dataclass(frozen=True, kw_only=True)
class MoveTiming:
    """One move of a timing, as the rig file would say it.

    Attributes
    ----------
    start_s, duration_s : float
        [s].
    profile : str or None
        None for keys.
    """

    start_s: float
    duration_s: float
    profile: str | None


@dataclass(frozen=True, kw_only=True)
class Timing:
    """One way to time the moves, computed in full.

    Attributes
    ----------
    duration_s : float
        From the first start to the last stop [s].
    moves : tuple of MoveTiming
        In the order of the file. Of a shaped move: the moves before shaping.
    wobble : float
        After the moves, peak to peak, in the unit of the result.
    wobble_off : float
        The most it can be while all frequencies are up to 10 % off.
    status : Status
        Of the wobble, as `check` grades it; never a pass where the hazard is overhead.
    settle_s : float or None
        None where it never comes to rest.
    strength_factor : float or None
        Settled and moving; None where no strength is known.
    strength_status : Status
        Of that factor.
    """

    duration_s: float
    moves: tuple[MoveTiming, ...]
    wobble: float
    wobble_off: float
    status: Status
    settle_s: float | None
    strength_factor: float | None
    strength_status: Status


@dataclass(frozen=True, kw_only=True)
class ProfileTimes:
    """How fast one profile can be.

    Attributes
    ----------
    profile : str
        Its name, or ``as planned`` for moves that have no profile to change.
    planned : bool
        Whether the file has it.
    wobble : float
        Over the planned time.
    first : Timing or None
        The shortest time that arrives still: on a null perhaps, so that longer ones may not. None: there is none.
    always : Timing or None
        From here on every longer time arrives still; None where that is not reached.
    sure : Timing or None
        The same with frequencies up to 10 % off.
    says : str
        Why one of them is missing, or what is special; else empty.
    """

    profile: str
    planned: bool
    wobble: float
    first: Timing | None
    always: Timing | None
    sure: Timing | None
    says: str = ""


@dataclass(frozen=True, kw_only=True)
class NullTime:
    """A time of the whole move at which the vibration it causes cancels itself.

    Attributes
    ----------
    duration_s : float
        [s].
    wobble, low, high, worst : float
        There; with all frequencies 10 % lower; 10 % higher; the most for any error up to that.
    """

    duration_s: float
    wobble: float
    low: float
    high: float
    worst: float


@dataclass(frozen=True, kw_only=True)
class ModeShare:
    """One mode (or a pair of equal frequency) and its share of the wobble.

    Attributes
    ----------
    frequency_Hz : float
        [Hz].
    direction : str
        In words.
    share : float
        Of the sum over all modes of the most each can leave with the frequencies up to 10 % off.
    matters : bool
        Whether shaping takes it in.
    """

    frequency_Hz: float
    direction: str
    share: float
    matters: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class ShapedMove:
    """The planned move as a sum of delayed copies of itself (N. C. Singer and W. P. Seering, 1990).

    Attributes
    ----------
    name : str
        ``two-impulse`` or ``three-impulse``.
    impulses : int
        For each mode that matters.
    times_s, shares : tuple of float
        Delays and shares of all copies.
    added_s : float
        How much longer the move takes [s].
    timing : Timing
        Shaped, computed in full.
    residual_share : float or None
        Wobble over that of the unshaped move; None where that has none.
    low, high : float
        Wobble with all frequencies 10 % lower, 10 % higher.
    forgives : tuple of float, or None
        Largest errors in frequency, as shares, down and up, at which it still arrives still; looked for up to
        0.3. None where it does not even without an error.
    widths : tuple of (float, float)
        For each mode shaped: its frequency [Hz], and the width of the band around it, as a share, in which the
        shaper leaves under 5 % of the mode's vibration.
    quickest : Timing or None
        The shortest such move from which on every longer one is sure to arrive still, with the frequencies up to
        10 % off; None where it is not known.
    """

    name: str
    impulses: int
    times_s: tuple[float, ...]
    shares: tuple[float, ...]
    added_s: float
    timing: Timing
    residual_share: float | None
    low: float
    high: float
    forgives: tuple[float, float] | None
    widths: tuple[tuple[float, float], ...]
    quickest: Timing | None

    @property
    def shaper(self) -> Shaper:
        """The impulses."""
        return Shaper(times=np.array(self.times_s), amplitudes=np.array(self.shares))


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    """One thing to do.

    Attributes
    ----------
    kind : str
        ``keep``, ``profile``, ``longer``, ``shape`` or ``none``.
    says : str
        In words, with its computed effect.
    timing : Timing or None
        That effect.
    """

    kind: str
    says: str
    timing: Timing | None


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Wobble after the move against the time it takes, both tuples of equal length."""

    duration_s: tuple[float, ...]
    wobble: tuple[float, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class PropRetiming:
    """Everything found about the timing of one prop's moves.

    Attributes
    ----------
    name, support : str
        The prop, and what carries it.
    unit : str
        Of every wobble: ``px``, or ``mm`` without a camera.
    limit : float
        Most wobble that counts as still, in that unit.
    status : Status
        Of the plan, its strength counted; ``skipped`` where nothing could be timed.
    profile : str
        The profile that plan, nulls and shaping stand for.
    plan : Timing or None
        As the file has it (with ``--profile`` in its place).
    profiles, nulls, modes, shaped : tuple
        See there.
    curve : Curve or None
        Around the planned time.
    notes : tuple of str
        What is and is not retimed or shaped, and why.
    recommendation : Recommendation
        One thing to do.
    assumptions, cautions : tuple of str
        As for `check`.
    """

    name: str
    support: str
    unit: str
    limit: float
    status: Status
    profile: str
    plan: Timing | None
    profiles: tuple[ProfileTimes, ...] = ()
    nulls: tuple[NullTime, ...] = ()
    modes: tuple[ModeShare, ...] = ()
    shaped: tuple[ShapedMove, ...] = ()
    curve: Curve | None = None
    notes: tuple[str, ...] = ()
    recommendation: Recommendation
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class RetimeResult:
    """The timing of a shot, prop by prop."""

    title: str
    verdict: Status
    props: tuple[PropRetiming, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ExportedKeys:
    """Keyframes that were written.

    Attributes
    ----------
    prop : str
        Whose.
    shaped : str
        ``two-impulse`` or ``three-impulse``.
    files : tuple of Path
        One for each slide, in the order of the file.
    rate_Hz : float
        Keys a second.
    keys : int
        In each file.
    wobble, unit : float, str
        After these keys, read back and computed in full.
    planned : float
        The same of the shaped move before sampling.
    status : Status
        Of that wobble.
    rows : tuple of str
        What to write in the rig file, one text for each slide.
    says : str
        One sentence.
    """

    prop: str
    shaped: str
    files: tuple[Path, ...]
    rate_Hz: float
    keys: int
    wobble: float
    unit: str
    planned: float
    status: Status
    rows: tuple[str, ...]
    says: str
