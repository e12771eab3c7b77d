"""From chances to answers: each cause with its value, test and cure, and the one thing to do next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigcheck.model import Prop, Shot
from rigcheck.motion.identification import Identification
from rigcheck.studies.explain.causes import Ranked, Ranking
from rigcheck.studies.explain.fit import cures_of, fit, wobble
from rigcheck.studies.explain.modes import Uncertain
from rigcheck.studies.explain.results import Cause, Implied
from rigcheck.studies.explain.seen import screen_words
from rigcheck.studies.explain.words import Sight, describe, mode_id, plain_cure, telling
from rigcheck.studies.reading.prop import Reading

__all__ = ["SURE", "Answers", "answers", "named", "next_step"]

_LEAST_CHANCE = 0.01
_MOST_CAUSES = 8
_FITTED = 3
"""Causes whose wobble is worked out before and after the cure."""
_LEAST_FITTED = 0.05
_HELPS = 0.5
"""A cure that leaves more than the limit and more than this share of the wobble is backed up by another."""
_FOLDED = 0.01
_TWIN = 0.03
"""Logarithm of frequencies within which two sways are not told apart by their directions."""
_FEW = 1
"""Swings in view that leave faults of the rig hard to tell apart."""
SURE = 0.6
"""Chance from which the next thing to do is the cure, and below it the test: a choice."""
_CYCLES_WANTED = 8
"""Swings in view from which damping is well known."""
_UNKNOWN_EFFECT = ("clamp-play", "air", "camera", "roll-runout", "keyframes", "drive-rate")
"""Causes whose own share of the wobble the model of the rig does not hold."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Answers:
    """Causes in words, most probable first, and the cures of the likeliest rig.

    `first_cure` is what to do about the first cause, one thing only; empty where there is nothing.
    """

    causes: tuple[Cause, ...]
    cures: tuple[str, ...]
    first_cure: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Entry:
    """One line of the list: a cause, or one mode of the rig as described."""

    id: str
    chance: float
    ranked: Ranked
    mode: int | None = None


def answers(
    shot: Shot,
    prop: Prop,
    reading: Reading,
    unsure: Uncertain,
    ranking: Ranking,
    sight: Sight,
    damping_ratio: float | None,
) -> Answers:
    """Put causes into words, with their cures.

    Parameters
    ----------
    shot, prop : Shot, Prop
        As given.
    reading : Reading
        The same made ready to compute, its moves included.
    unsure : Uncertain
        Inputs with ranges.
    ranking : Ranking
        The chances.
    sight : Sight
        What is seen.
    damping_ratio : float or None
        As measured.

    Returns
    -------
    Answers
    """
    entries: list[_Entry] = []
    for ranked in ranking.causes:
        if ranked.id == "as-described":
            entries += _modes(ranked, sight)
        else:
            entries.append(_Entry(id=ranked.id, chance=ranked.chance, ranked=ranked))
    entries = [entry for entry in _together(entries) if entry.chance >= _LEAST_CHANCE][:_MOST_CAUSES]
    cures: tuple[str, ...] = ()
    first_cure = ""
    causes = []
    for place, entry in enumerate(entries):
        ranked = entry.ranked
        value = predicted = after = None
        own: tuple[str, ...] = ()
        if ranked.weighed is not None and place < _FITTED and entry.chance >= _LEAST_FITTED:
            fitted = fit(reading.task, unsure, ranked, damping_ratio)
            value = fitted.value
            if entry.id not in _UNKNOWN_EFFECT:
                predicted = wobble(fitted.faulty)
                after = wobble(fitted.mended) if entry.mode is None else None
            if ranked is ranking.rig or not cures:
                own = cures_of(shot, prop, fitted.faulty)
                cures = cures or own
        if entry.mode is None:
            says, implied = describe(ranked, sight, value)
        else:
            says, implied = _mode_words(ranked, sight, entry.mode)
        cure, do = _cure(entry.id, own, predicted, after, sight)
        first_cure = do if place == 0 else first_cure
        following = entries[place + 1].id if place + 1 < len(entries) else None
        causes.append(
            Cause(
                id=entry.id,
                chance=entry.chance,
                says=says,
                implied=implied,
                test=telling(entry.id, following),
                cure=cure,
                predicted=predicted,
                after=after,
            )
        )
    return Answers(causes=tuple(causes), cures=cures, first_cure=first_cure)


def _modes(ranked: Ranked, sight: Sight) -> list[_Entry]:
    """The rig as described, split into its modes by how large each swings."""
    assert ranked.weighed is not None  # a rig
    sizes = np.array([component.amplitude for component in sight.components])
    if not len(sizes):
        return [_Entry(id="as-described", chance=ranked.chance, ranked=ranked)]
    shares = (sizes / sizes.sum()) @ ranked.weighed.modes
    entries = [
        _Entry(
            id=mode_id(_kind(sight, int(mode)), sight.task.rig, _frequency(ranked, int(mode))),
            chance=ranked.chance * float(shares[mode]),
            ranked=ranked,
            mode=int(mode),
        )
        for mode in np.flatnonzero(shares[:-1] > 0)
    ]
    if shares[-1] > 0:
        stranger = Ranked(id="camera", chance=0.0, component=int(np.argmax(ranked.weighed.modes[:, -1])))
        entries.append(_Entry(id="camera", chance=ranked.chance * float(shares[-1]), ranked=stranger))
    return entries


def _together(entries: list[_Entry]) -> list[_Entry]:
    """Entries of one name as one, the likeliest of them speaking."""
    groups: dict[str, list[_Entry]] = {}
    for entry in entries:
        groups.setdefault(entry.id, []).append(entry)
    joined = []
    for name, group in groups.items():
        first = max(group, key=lambda entry: entry.chance)
        chance = sum(entry.chance for entry in group)
        joined.append(_Entry(id=name, chance=chance, ranked=first.ranked, mode=first.mode))
    return sorted(joined, key=lambda entry: -entry.chance)


def _kind(sight: Sight, mode: int) -> str:
    return sight.kinds[mode] if mode < len(sight.kinds) else ""


def _frequency(ranked: Ranked, mode: int) -> float:
    assert ranked.predicted is not None  # a rig
    return float(np.exp(ranked.predicted.log_frequency[0, mode]))


def _mode_words(ranked: Ranked, sight: Sight, mode: int) -> tuple[str, Implied | None]:
    assert ranked.weighed is not None  # a rig
    given = _frequency(ranked, mode)
    kind = _kind(sight, mode) or "a higher mode"
    which = [c for c, best in enumerate(ranked.weighed.best) if best == mode]
    says = f"The rig is as the file says, and rings: {kind}, predicted at {given:.3g} Hz."
    if not which:
        return says, None
    seen = sight.components[which[0]]
    value = ranked.weighed.true_frequency[which[0]]
    low, high = (value + end - seen.frequency for end in seen.frequency_range)
    return says, Implied(
        what="frequency",
        value=value,
        low=low,
        high=high,
        given=given,
        unit="Hz",
        plausible=True,
        says="within what mass, sizes, stiffness and clamp leave open",
    )


_NO_MOVE = (
    "Make the support shorter or stiffer, or the move smoother; with a move in the rig file it is worked out"
)
_STILL = "Nothing to cure: the planned move leaves it still"


def _cure(
    name: str, own: tuple[str, ...], predicted: float | None, after: float | None, sight: Sight
) -> tuple[str, str]:
    """What puts a cause right, with its effect and what helps beside it; and the one of them to do."""
    plain = plain_cure(name)
    if plain is None:
        only = own[0] if own else _NO_MOVE if predicted is None else _STILL
        return only, only
    if predicted is None or after is None:
        return plain, plain
    if after <= sight.limit or after <= _HELPS * predicted:
        effect = f"{plain} (wobble {predicted:.3g} to {after:.3g} {sight.wobble_unit})"
        return effect, effect
    # The rig put right would wobble as much: then the move or the support asks for a change too.
    plain = f"{plain}: that alone leaves a wobble of {after:.3g} {sight.wobble_unit}"
    return (f"{plain}. Or: {own[0]}", own[0]) if own else (plain, plain)


def named(ranking: Ranking, sight: Sight) -> dict[int, str]:
    """What each component probably is, by the likeliest rig.

    Parameters
    ----------
    ranking : Ranking
        The chances.
    sight : Sight
        What is seen.

    Returns
    -------
    dict of int to str
        Words of its mode by the identity (`id`) of the component; with the true frequency, where the frame rate
        shows another.
    """
    rig = ranking.rig
    if rig is None or rig.weighed is None:
        return {}
    names = {}
    for component, mode, true in zip(
        sight.components, rig.weighed.best, rig.weighed.true_frequency, strict=True
    ):
        if mode < 0:
            continue
        folded = abs(true - component.frequency) > _FOLDED * component.frequency
        kind = _kind(sight, mode)
        if kind.startswith("sway") and _has_a_twin(rig, sight, mode):
            kind = f"sway {screen_words(component)}"  # either of the two, or both
        names[id(component)] = kind + (f", truly at {true:.3g} Hz" if folded else "")
    return names


def _has_a_twin(rig: Ranked, sight: Sight, mode: int) -> bool:
    """Whether another sway has nearly the same frequency."""
    assert rig.predicted is not None  # a rig
    logs = rig.predicted.log_frequency[0]
    return any(
        other != mode and _kind(sight, other).startswith("sway") and abs(logs[other] - logs[mode]) < _TWIN
        for other in range(len(logs))
    )


def next_step(
    found: Identification | None,
    told: Answers | None,
    *,
    within: bool = False,
    tapped: bool = False,
    swings: int = 0,
) -> str:
    """The one thing to do next.

    Parameters
    ----------
    found : Identification or None
        What swings; None with a bench test alone.
    told : Answers or None
        The causes; None without a rig file.
    within : bool
        Whether what is seen after the planned move is within the limit of wobble.
    tapped : bool
        Whether the take is of a tap.
    swings : int
        How many distinct swings there are.

    Returns
    -------
    str
        A sentence.
    """
    causes = () if told is None else told.causes
    if found is not None and not found.components and not causes:
        if found.is_noise:
            return "Nothing to cure: no wobble shows in this take."
        return "Film again, and let the camera run on for some seconds after the stop."
    if found is not None and found.components:
        first = found.components[0]
        if first.cycles < 2.0:
            wanted = _CYCLES_WANTED / max(first.frequency, 1e-3)
            return f"Film again, and let the camera run on for at least {wanted:.2g} s after the stop."
        if within:
            return "Leave it as it is: the wobble is within its limit."
    if told is None:
        return "Give the rig file with --rig to learn what causes it."
    if not causes:
        return "Follow a point on the background too, and film it again."
    likely = causes[0]
    sound = [cause for cause in causes if _is_mode(cause.id)]
    chance = sum(cause.chance for cause in sound) if _is_mode(likely.id) else likely.chance
    if chance >= SURE and told.first_cure:
        return _sentence(told.first_cure)
    if not tapped and swings <= _FEW and all(cause.id in _OF_THE_RIG for cause in causes[:2]):
        return _TAP
    return f"Find out first which it is. {_sentence(likely.test)}"


_OF_THE_RIG = ("clamp-softer", "joint-flexing", "prop-heavier", "prop-further-out", "support-thinner")
_TAP = (
    "Find out first which it is: tap the prop with a finger, film that at 120 frames a second or more, and explain"
    " it with --tap."
)


def _is_mode(name: str) -> bool:
    return name.startswith("mode-") or name in ("hanging-swing", "as-described")


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!")) else f"{text}."
