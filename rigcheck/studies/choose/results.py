"""What a choice hands back."""

from __future__ import annotations

from dataclasses import dataclass, field

from rigcheck.studies.candidates import Item
from rigcheck.studies.choose.reach import Reach
from rigcheck.studies.cures import Cure
from rigcheck.studies.results import Status
from rigcheck.studies.words import material_words

__all__ = ["Candidate", "ChoiceResult", "PropChoice"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Candidate:
    """One choice: what to buy, how many, and how it does. None where it was not computed or does not apply.

    Attributes
    ----------
    item : Item
        What to buy.
    count : int
        How many side by side.
    verdict : Status
        Of the same check as `rigcheck check`, on this prop alone.
    in_full : bool
        Whether every check of the prop was made; else it was graded on strength, buckling, sag, wobble and settling.
    chance_of_pass : float or None
        As in a check; None where that was not worked out.
    sag_mm, frequency_hz, residual_wobble_mm, residual_wobble_px : float or None
        As in a check.
    visible_width_mm, visible_width_px : float
        Across all supports as the camera sees them; pixels only with a camera.
    margin : float
        Least of all margins; above 1 is inside, 10 is the most that is counted.
    buy_ease, shape_ease : int
        See `Item`.
    longest_reach_mm : float or None
        Longest free length that still passes.
    fails : tuple of str
        Findings that do not pass, in words with their values.
    """

    item: Item
    count: int
    verdict: Status
    in_full: bool
    chance_of_pass: float | None
    sag_mm: float | None
    frequency_hz: float | None
    residual_wobble_mm: float | None
    residual_wobble_px: float | None
    visible_width_mm: float
    visible_width_px: float | None
    margin: float
    longest_reach_mm: float | None
    fails: tuple[str, ...]

    @property
    def words(self) -> str:
        """For example ``2 of 3 mm carbon-rod``."""
        several = f"{self.count} of " if self.count > 1 else ""
        return f"{several}{self.item.label} {material_words(self.item.material, self.item.section)}"


@dataclass(frozen=True, kw_only=True, eq=False)
class PropChoice:
    """The choice for one prop.

    Attributes
    ----------
    name : str
        Of the prop.
    best : tuple of Candidate
        Best first.
    front : tuple of Candidate
        Those that no other beats in both visible width and wobble, thin to thick; empty unless asked for.
    thinner : str
        Why the nearest thinner choice does not do; empty where there is none.
    lucky : str
        Which of the best pass at this length, but not at every shorter one; empty where none does.
    reach : tuple of Reach
        How far each size reaches.
    cures : tuple of Cure
        For the rig as it stands in the file, where it does not pass.
    every : tuple of Candidate
        All of them by how they were graded, where asked for.
    tried, passing, cautioned, too_soft, too_weak, not_held : int
        Candidates looked at, and how they came out.
    assumptions, cautions : tuple of str
        What was taken for granted; safety.
    """

    name: str
    best: tuple[Candidate, ...]
    front: tuple[Candidate, ...] = ()
    thinner: str = ""
    lucky: str = ""
    reach: tuple[Reach, ...] = ()
    cures: tuple[Cure, ...] = ()
    every: tuple[Candidate, ...] = ()
    tried: int
    passing: int
    cautioned: int
    too_soft: int
    too_weak: int
    not_held: int
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class ChoiceResult:
    """What to buy for each prop of a shot."""

    title: str
    props: tuple[PropChoice, ...]
    cautions: tuple[str, ...] = field(default=())
