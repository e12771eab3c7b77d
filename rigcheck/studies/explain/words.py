"""Causes in the words of a crew: what it is, the value it would take, the test that tells it, the cure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop
from rigcheck.motion.identification import Component
from rigcheck.studies.explain.causes import Ranked
from rigcheck.studies.explain.faults import FIRM, root_stiffness_of
from rigcheck.studies.explain.results import Implied
from rigcheck.studies.explain.seen import Bend
from rigcheck.studies.grading import NOMINAL_PIXEL
from rigcheck.studies.rigs import GRAVITY, Rig
from rigcheck.studies.task import Task
from rigcheck.studies.words import length_words, mass_words, share_words

__all__ = ["MODE_IDS", "Sight", "describe", "gap_of", "mode_id", "plain_cure", "telling"]

Array = NDArray[np.float64]

_HEAVY = 1.35
_PENDULUM = 1.6
_USUAL_SLIP = 0.1
"""Prior from which another size or material is an ordinary mix-up."""

MODE_IDS = {
    "sway": "mode-sway",
    "twist": "mode-twist",
    "rocking": "mode-rocking",
    "bounce": "mode-bounce",
    "support": "mode-support",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Sight:
    """What the words need.

    Attributes
    ----------
    task : Task
        The rig as described.
    prop : Prop
        As given.
    kinds : tuple of str
        Words of its modes.
    components : tuple of Component
        As weighed.
    frame_rate : float
        [Hz].
    unit : str
        Of amplitudes.
    bend : Bend or None
        How the frequency changes.
    scale : float
        Millimetres at the prop for a unit of the track; NaN where not known.
    has_background : bool
        Whether a fixed point was followed.
    """

    task: Task
    prop: Prop
    kinds: tuple[str, ...]
    components: tuple[Component, ...]
    frame_rate: float
    unit: str
    bend: Bend | None
    scale: float
    has_background: bool

    @property
    def wobble_unit(self) -> str:
        """Of computed wobble."""
        return "mm" if self.task.eye is None else "px"

    @property
    def limit(self) -> float:
        """Of wobble [wobble_unit]."""
        limit = self.task.limits.wobble
        return limit * NOMINAL_PIXEL * 1e3 if self.task.eye is None else limit


def mode_id(kind: str, rig: Rig, frequency: float) -> str:
    """Stable name of a mode by its words.

    Parameters
    ----------
    kind : str
        As `describe_modes` says it.
    rig : Rig
        To tell a hanging swing.
    frequency : float
        Of the mode [Hz].

    Returns
    -------
    str
    """
    first = kind.split()[0] if kind else "support"
    if first == "sway" and _hangs(rig, frequency):
        return "hanging-swing"
    return MODE_IDS.get(first, "mode-support")


def _hangs(rig: Rig, frequency: float) -> bool:
    """Whether a sway is that of a pendulum: the root above, and weight that does most of the pulling back."""
    points = rig.supports[0].points[0]
    drop = points[0, 1] - (points[-1, 1] + rig.centre_of_mass[0, 1])
    way = points[0] - points[-1]
    if way[1] < 0.7 * np.linalg.norm(way):
        return False
    pendulum = np.sqrt(GRAVITY / max(drop, 1e-6)) / (2 * np.pi)
    return bool(frequency < _PENDULUM * pendulum)


def describe(ranked: Ranked, sight: Sight, value: float | None) -> tuple[str, Implied | None]:
    """What a cause is and the value it would take.

    Parameters
    ----------
    ranked : Ranked
        Not the rig as described; see `describe_mode` for that.
    sight : Sight
        What is seen.
    value : float or None
        Of the fault, where it was refined.

    Returns
    -------
    says : str
    implied : Implied or None
    """
    match ranked.id:
        case "clamp-softer":
            return _clamp(ranked, sight, value)
        case "prop-heavier":
            return _mass(ranked, sight, value)
        case "prop-further-out":
            return _centre(ranked, sight, value)
        case "support-thinner":
            return _stock(ranked, sight, value)
        case "joint-flexing":
            return _joint(ranked, sight, value)
        case "clamp-play":
            return _play(sight)
        case "as-described":
            return "The rig is as the file says: its sag fits.", None
        case "air":
            return (
                "Something keeps it swinging at its own frequency: air from a fan or a door, or the floor.",
                None,
            )
        case "camera":
            return _camera(ranked, sight)
        case "roll-runout":
            return _roll(ranked, sight)
        case "keyframes":
            return _shake(ranked, sight, "The keyframes show: each one is a small knock")
        case _:
            return _shake(ranked, sight, "It shakes at a rate of the drive")


def _ends(ranked: Ranked) -> tuple[float, float]:
    """Where the fault's value lies nine times in ten."""
    assert ranked.predicted is not None  # faults have values
    assert ranked.weighed is not None
    values, chance = ranked.predicted.fault.values, ranked.weighed.values
    if len(values) < 2:
        return float(values[0]), float(values[0])
    # Each value stands for all up to half way to the next, in the logarithm.
    logs = np.log(values)
    half = 0.5 * np.diff(logs)
    edges = np.concatenate([[logs[0] - half[0]], logs[:-1] + half, [logs[-1] + half[-1]]])
    low, high = np.exp(np.interp([0.05, 0.95], np.concatenate([[0.0], np.cumsum(chance)]), edges))
    return float(low), float(high)


def _best(ranked: Ranked, value: float | None) -> float:
    assert ranked.predicted is not None  # faults have values
    assert ranked.weighed is not None
    return float(ranked.predicted.fault.values[ranked.weighed.place]) if value is None else value


def _clamp(ranked: Ranked, sight: Sight, value: float | None) -> tuple[str, Implied]:
    assert ranked.predicted is not None  # faults have values
    fault, rig = ranked.predicted.fault, sight.task.rig
    best, (low, high) = _best(ranked, value), _ends(ranked)
    low, high = min(low, best), max(high, best)
    stiffness = [float(root_stiffness_of(fault.apply(rig, np.array([one])))[0]) for one in (best, high, low)]
    before = float(root_stiffness_of(rig)[0])
    given = before if np.isfinite(before) else None
    first = rig.supports[0]
    finite = first.root_stiffness is not None and bool(np.isfinite(first.root_stiffness).any())
    # A factor on the give of a given stiffness counts in diameters as well.
    bending = float(first.material.youngs_modulus[0] * first.section.second_moment_y[0])
    across = float(first.outer_size[0])
    diameters = bending / (stiffness[0] * across) if finite else best
    said = 0.0 if given is None else bending / (given * across)
    millimetres = (diameters - said) * across * 1e3
    plausible = diameters <= FIRM
    return (
        (
            f"The clamp gives more than the file says: like {diameters:.2g} diameters of free length"
            f" instead of {said:.2g}."
        ),
        Implied(
            what="root stiffness",
            value=stiffness[0],
            low=stiffness[1],
            high=stiffness[2],
            given=given,
            unit="N*m/rad",
            plausible=plausible,
            says=(
                f"like {millimetres:.2g} mm more free length, which occurs: a loose screw, a soft jaw, a short grip"
                if plausible
                else f"like {millimetres:.2g} mm more free length: more than a clamp that holds ever gives"
            ),
        ),
    )


def _mass(ranked: Ranked, sight: Sight, value: float | None) -> tuple[str, Implied]:
    best, (low, high) = _best(ranked, value), _ends(ranked)
    given = float(sight.task.rig.mass[0])
    word = "heavier" if best > 1 else "lighter"
    return (
        f"The prop is {word} than the file says: {mass_words(best * given)} instead of {mass_words(given)} in all.",
        Implied(
            what="mass beyond the tip",
            value=best * given * 1e3,
            low=min(low, best) * given * 1e3,
            high=max(high, best) * given * 1e3,
            given=given * 1e3,
            unit="g",
            plausible=1 / _HEAVY < best < _HEAVY,
            says=(
                "glue, filling or water easily make such a difference"
                if 1 / _HEAVY < best < _HEAVY
                else "so large an error would be felt in the hand"
            ),
        ),
    )


def _centre(ranked: Ranked, sight: Sight, value: float | None) -> tuple[str, Implied]:
    best, (low, high) = _best(ranked, value), _ends(ranked)
    reach = None
    if sight.prop.size is not None:
        reach = 0.5 * max(side.m_as("m") for side in sight.prop.size)
    plausible = reach is None or best < 0.5 * reach
    return (
        f"The prop's centre of mass is {length_words(best)} farther out than the file says.",
        Implied(
            what="centre of mass, farther out by",
            value=best * 1e3,
            low=min(low, best) * 1e3,
            high=max(high, best) * 1e3,
            given=0.0,
            unit="mm",
            plausible=plausible,
            says=(
                "it is easily misjudged by eye, or the support is not pushed in all the way"
                if plausible
                else "that is far off for a prop of its size"
            ),
        ),
    )


def _stock(ranked: Ranked, sight: Sight, value: float | None) -> tuple[str, Implied]:
    assert ranked.predicted is not None  # faults have values
    fault = ranked.predicted.fault
    best = _best(ranked, value)
    support = sight.prop.support[0]
    size = support.thickness if support.section == "strip" else support.diameter
    if not fault.names:
        low, high = _ends(ranked)
        now = float(sight.task.rig.supports[0].outer_size[0])
        return (
            f"The support is thinner than the file says: {best * now * 1e3:.3g} mm.",
            Implied(
                what="thickness" if support.section == "strip" else "diameter",
                value=best * now * 1e3,
                low=min(low, best) * now * 1e3,
                high=max(high, best) * now * 1e3,
                given=now * 1e3,
                unit="mm",
                plausible=best > 0.8,
                says="sizes near each other are mixed up" if best > 0.8 else "that would be seen",
            ),
        )
    name = fault.names[round(best)]
    usual = bool(fault.prior[round(best)] >= _USUAL_SLIP)
    is_size = name[:1].isdigit()
    changed = fault.apply(sight.task.rig, np.array([best]))
    old, new = sight.task.rig.supports[0], changed.supports[0]
    stiffer = float(
        new.material.youngs_modulus[0]
        * new.section.second_moment_y[0]
        / (old.material.youngs_modulus[0] * old.section.second_moment_y[0])
    )
    word = ("thicker" if is_size else "stiffer") if stiffer > 1 else ("thinner" if is_size else "softer")
    return (
        f"The support is {word} than the file says: {name} instead of {size if is_size else support.material}.",
        Implied(
            what="diameter" if is_size else "material",
            name=name,
            plausible=usual or not is_size,
            says=(
                "the sizes beside it in the rack are mixed up"
                if is_size and usual
                else "a size so far off would be seen"
                if is_size
                else "wires of different metal look alike"
            ),
        ),
    )


def _joint(ranked: Ranked, sight: Sight, value: float | None) -> tuple[str, Implied]:
    assert ranked.predicted is not None  # faults have values
    fault, rig = ranked.predicted.fault, sight.task.rig
    best, (low, high) = _best(ranked, value), _ends(ranked)

    def stiffness(one: float) -> float:
        joint = fault.apply(rig, np.array([one])).supports[0].joint_stiffness
        return float(np.min(joint)) if joint is not None else np.inf

    now = rig.supports[0].joint_stiffness
    given = None if now is None or not np.isfinite(now).any() else float(np.min(now))
    plausible = best <= FIRM
    what = "insert" if sight.prop.insert is not None else "prop"
    return (
        f"Where the support goes into the {what}, it gives: the prop rocks on its tip.",
        Implied(
            what=f"stiffness between support and {what}",
            value=stiffness(best),
            low=stiffness(max(high, best)),
            high=stiffness(min(low, best)),
            given=given,
            unit="N*m/rad",
            plausible=plausible,
            says=(
                "soft board, foam or a drop of glue give that much"
                if plausible
                else "softer than anything that still holds the prop up"
            ),
        ),
    )


def gap_of(bend: Bend) -> tuple[float, float] | None:
    """The gap that makes a frequency fall so as the swing dies down.

    Parameters
    ----------
    bend : Bend
        Frequency against amplitude.

    Returns
    -------
    (float, float) or None
        Half the free movement [px or mm], and the frequency without it [Hz]; None where the frequency does not fall.

    Notes
    -----
    A mass on a spring with a gap g to either side and amplitude A > g takes half a period of the full spring on
    each side, and crosses the gap of 2 g twice at speed ``2 pi f0 (A - g)``: ``f0/f = 1 + (2/pi) g/(A - g)``. Exact
    without damping; derived here.
    """
    amplitude, frequency = bend.amplitude, bend.frequency
    if bend.change >= 0:
        return None
    best = (np.inf, 0.0, 0.0)
    for gap in np.linspace(0.0, 0.95, 96)[1:] * float(amplitude.min()):
        shape = 1.0 / (1.0 + 2.0 / np.pi * gap / (amplitude - gap))
        full = float((shape @ frequency) / (shape @ shape))
        left = float(((frequency - full * shape) ** 2).sum())
        if left < best[0]:
            best = (left, float(gap), full)
    return best[1], best[2]


def _play(sight: Sight) -> tuple[str, Implied | None]:
    found = None if sight.bend is None else gap_of(sight.bend)
    if found is None:
        return (
            "There may be play in the clamp: the swing is slower than it should be, and dies fast.",
            None,
        )
    gap, full = found
    known = np.isfinite(sight.scale)
    size = gap * (sight.scale if known else 1.0)
    unit = "mm" if known else sight.unit
    assert sight.bend is not None  # a gap was found in it
    length = float(sight.task.rig.supports[0].free_length[0]) * 1e3
    tilt = f", {np.degrees(2 * size / length):.2g} degrees in the clamp" if known else ""
    change = float(np.expm1(sight.bend.change))
    return (
        (
            f"There is play in the clamp: the swing gets slower as it dies down"
            f" (by {share_words(-change, places=1)}), from {full:.3g} Hz were there none."
        ),
        Implied(
            what="free movement at the prop",
            value=2 * size,
            given=0.0,
            unit=unit,
            plausible=not known or size < 0.1 * length,
            says=f"a clearance hole gives that{tilt}",
        ),
    )


def _camera(ranked: Ranked, sight: Sight) -> tuple[str, Implied | None]:
    if ranked.component is None:
        return "The background moves too: the camera or its stand shakes.", None
    seen = sight.components[ranked.component]
    if sight.has_background:
        return (
            (
                f"Nothing of the rig has {seen.frequency:.3g} Hz, and the background is still: the table,"
                " the head's own stand, or something not in the file."
            ),
            None,
        )
    return (
        f"Nothing of the rig explains {seen.frequency:.3g} Hz: the camera or its stand may shake, or the table.",
        None,
    )


def _roll(ranked: Ranked, sight: Sight) -> tuple[str, Implied | None]:
    if ranked.item is not None:
        item = ranked.item
        words = (
            "runs out of true or is out of balance" if item.name == "once a turn" else "is not round to it"
        )
        return (
            f"The roll {words}: the prop moves {item.name} while it turns.",
            Implied(
                what=f"movement {item.name}, peak to peak",
                value=2 * item.amplitude,
                given=0.0,
                unit=sight.unit,
                plausible=True,
                says="a bent wire or a chuck a few hundredths out does that",
            ),
        )
    assert ranked.source is not None  # from a roll that goes on, or on the way
    return (
        f"The roll goes on and shakes the prop {ranked.source.name}, at {ranked.source.frequency:.3g} Hz.",
        Implied(
            what=f"rate {ranked.source.name}",
            value=ranked.source.frequency,
            unit="Hz",
            plausible=True,
            says="run-out, unbalance, or a support that is not equally stiff all round",
        ),
    )


def _shake(ranked: Ranked, sight: Sight, words: str) -> tuple[str, Implied | None]:
    rate = ranked.item.rate if ranked.item is not None else None
    name = ranked.item.name if ranked.item is not None else ""
    if ranked.source is not None:
        rate, name = ranked.source.frequency, ranked.source.name
    said = f" ({name})" if name else ""
    amplitude = None if ranked.item is None else 2 * ranked.item.amplitude
    swing = "" if amplitude is None else f", {amplitude:.2g} {sight.unit} peak to peak"
    return (
        f"{words}{said}, {rate:.3g} a second{swing}.",
        Implied(what="rate", value=rate, unit="Hz", plausible=True, says="it is the rate that was given"),
    )


# -- tests and cures ------------------------------------------------------------------------------------

_OWN_TEST = {
    "camera": "Follow a fixed point of the background too (columns still_x_px, still_y_px): if it moves alike, it is"
    " the camera.",
    "roll-runout": "Roll at half the speed: what comes once or twice a turn slows down with it, a mode does not.",
    "keyframes": "Export the move with twice as many keys: the shake doubles its rate or goes.",
    "drive-rate": "Move at another speed: a rate of the drive changes with it, a mode does not.",
    "air": "Screen the prop from draughts, stop the fans, and film it again without a move.",
    "prop-heavier": "Weigh the prop on kitchen scales, with everything that hangs on it.",
    "prop-further-out": "Balance the prop on an edge to find its centre of mass.",
    "support-thinner": "Measure the support with a caliper; a magnet tells steel from the rest.",
    "clamp-play": "Push the prop gently to and fro: with play it goes a little way before it pushes back.",
    "joint-flexing": "Film the tip close up while somebody taps the prop: a joint that gives opens and closes there.",
    "clamp-softer": "Hang a known weight on the prop and measure how far it goes down, or film the root close up"
    " while somebody taps the prop: a soft clamp turns there.",
    "hanging-swing": "Film it from the side: a hanging swing keeps its frequency when the wire is changed, but not"
    " when it is made shorter.",
}
_TEST_ORDER = tuple(_OWN_TEST)
_MODE_TEST = (
    "Tap the prop in one direction at a time and film it at 120 fps: each mode answers to its own direction."
)


def telling(first: str, second: str | None) -> str:
    """The test that would tell a cause from the next one.

    Parameters
    ----------
    first, second : str or None
        Their ids.

    Returns
    -------
    str
        The easiest test of either.
    """
    for name in _TEST_ORDER:
        if name in (first, second):
            return _OWN_TEST[name]
    return _MODE_TEST


_PLAIN = {
    "clamp-softer": "Hold the root as the file says: a clean metal jaw, tight, over at least five diameters",
    "clamp-play": "Take the play out: a collet of the right size, a second screw, or a shim around the wire",
    "prop-heavier": "Bring the prop back to the mass in the file",
    "prop-further-out": "Bring the centre of mass back to where the file has it, or push the support in farther",
    "support-thinner": "Put in the support that the file has",
    "joint-flexing": "Make the joint stiff: glue it, embed more of the support, or spread it over a plate",
    "air": "Keep draughts off: screens, fans and air conditioning off during the take",
    "camera": "Stand the camera firm and apart from the head, or take the background's movement off in post",
    "roll-runout": "True the wire in its chuck and balance the prop about the roll's axis; roll slower until then",
    "keyframes": "Write more keys, one for each frame or more, without rounding, or use a profile instead of keys",
    "drive-rate": "Move at a speed that keeps this rate far from the rig's own, or uncouple the drive by rubber",
    "hanging-swing": "Steer the lower end with a second, slack line, or stop the move slower than one swing",
}


def plain_cure(name: str) -> str | None:
    """What puts a cause right, in words.

    Parameters
    ----------
    name : str
        Its id.

    Returns
    -------
    str or None
        Without a full stop; None for a mode of a sound rig.
    """
    return _PLAIN.get(name)
