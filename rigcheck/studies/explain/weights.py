r"""How probable each fault makes what is seen: Bayes' rule over the modes of the rig with its ranges.

A fault of value a gives the logarithms of the frequencies a mean mu(a); the ranges of the inputs spread them by
``J J^T`` (J: change for one standard deviation of each input), which keeps what all modes share: a prop that is
heavier lowers all of them together. Each component of the take is some mode of the rig, or nothing of the rig.
For each way to put components to modes,

.. math:: p = \prod_c w_m \, d_c \, z_c \; N\left(\ln f ;\; \mu(a),\; J J^T + s^2 + \delta^2\right),

with the weight w_m of how much a mode shows, d_c of its direction on screen and z_c of its damping, delta the error
of the model itself, and f the image of the seen frequency (`aliases`) that lies nearest. Summed over all ways and
values, times the prior of the fault, that is its weight. The normal distributions are conditional Gaussian ones of
a linear model (C. M. Bishop, "Pattern Recognition and Machine Learning", 2006, section 2.3, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion.identification import Component
from rigcheck.studies.explain.modes import Predicted
from rigcheck.studies.explain.seen import Bend
from rigcheck.studies.sampling import Z90

__all__ = [
    "ALONE",
    "MODEL_ERROR",
    "Bench",
    "Damping",
    "Evidence",
    "Source",
    "Weighed",
    "weigh",
    "weigh_rest",
    "weigh_source",
]

Array = NDArray[np.float64]

MODEL_ERROR = 0.01
"""Standard deviation of the model's own error in the logarithm of a frequency: a choice."""
ALONE = 0.02
"""Prior chance that a component is nothing of the rig, where nothing hints at it: a choice."""
_DIRECTION_SPREAD = 0.25
"""Standard deviation of a direction [rad]: the point may lie away from the centre of mass."""
_ANY_DIRECTION = 0.2
_PAIR = 0.03
"""Modes nearer than this share can swing together in any direction."""
_LEAST_VISIBLE = 0.02
_FAR = 5.0
"""Standard deviations from which a mode is not tried for a component."""
_HOPELESS_WAY, _MOST_WAYS = 1e-5, 100
"""Ways that are followed as components are put one after another: not those so far behind the best, nor more."""
_RATIOS: Array = np.geomspace(1e-5, 0.3, 161)
_DAMPING_ERROR = 0.15
"""Damping changes with the size of the swing: relative standard deviation beside the measured one, a choice."""
_STRAIGHT = 0.002
"""Change of frequency from early to late that a sound rig may show (logarithm): a choice."""
_PLAY_CHANGE = 0.1
"""Usual size of the change where there is play: a choice."""
_KICKS, _UNKICKED, _ODD = 0.2, 0.02, 0.02
"""Usual size of kicks from air; what fit and noise leave without any; how often a sound rig looks kicked: choices
that takes of known causes bear out."""
_LOWEST, _HIGHEST = 0.3, 60.0
"""Where swings that nothing of the rig explains may lie [Hz]."""


@dataclass(frozen=True, kw_only=True)
class Damping:
    """Prior of a damping ratio: log-normal with this median, one in twenty each beyond the ends.

    With `steady`, that share of it is none at all: something keeps the swing going.
    """

    median: float
    low: float
    high: float
    steady: float = 0.0

    def density(self, seen: Component, share: float = 1.0) -> float:
        """How probable a seen damping is [per unit of damping ratio].

        With `share`, of a swing whose true frequency is the seen one over that: it decays alike in time, so its
        damping ratio is as much smaller.
        """
        low, high = seen.damping_range
        spread = max((high - low) / (2 * Z90), 5e-5)
        spread = float(np.hypot(spread, _DAMPING_ERROR * seen.damping_ratio)) * share
        ratio = seen.damping_ratio * share
        logs = np.log(_RATIOS / self.median)
        above, below = float(np.log(self.high / self.median)), float(np.log(self.median / self.low))
        sigma = np.asarray(np.where(logs > 0, above, below)) / Z90
        prior = np.exp(-0.5 * (logs / sigma) ** 2)
        prior = prior / prior.sum()
        fits = np.exp(-0.5 * ((ratio - _RATIOS) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        none = np.exp(-0.5 * (ratio / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        return share * float((1 - self.steady) * (prior @ fits) + self.steady * none) + 1e-12


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """What is seen.

    Attributes
    ----------
    components : tuple of Component
        Distinct swings, largest first.
    frame_rate : float
        [Hz].
    bend : Bend or None
        How the frequency of the first changes.
    kicks : float or None
        How much it is kicked on its way, see `kicks_of`.
    view : array, shape (2, 3)
        Screen for space.
    lever : float
        How far the followed point may be from the centre of mass [m].
    point : array, shape (3,), or None
        Where it is, from the centre of mass [m]; None where not known.
    push : array, shape (p, 3), or None
        Directions in which the moves push; None for a tap.
    bench : Bench or None
        A mass hung on the rig.
    """

    components: tuple[Component, ...]
    frame_rate: float
    bend: Bend | None
    kicks: float | None
    view: Array
    lever: float
    point: Array | None
    push: Array | None
    bench: Bench | None


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A mass hung at the prop's centre of mass [kg], the further sag [m], its standard deviation in the logarithm."""

    mass: float
    sag: float
    spread: float


@dataclass(frozen=True, kw_only=True)
class Source:
    """Something beside the rig that swings at a known frequency [Hz], its spread (logarithm), and its name."""

    id: str
    name: str
    frequency: float
    spread: float = 0.004


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighed:
    """The weight of one fault.

    Attributes
    ----------
    evidence : float
        Probability of what is seen, summed over its values; comparable between faults.
    values : array, shape (n,)
        How probable each value is, given the fault.
    modes : array, shape (c, m + 1)
        How probably each component is each mode; the last column is nothing of the rig.
    best : tuple of int
        The likeliest way: mode of each component, -1 for none.
    true_frequency : tuple of float
        What each component then is, of all that look like it [Hz]; NaN for none.
    place : int
        The likeliest value.
    deviates : array, shape (k,)
        Mean deviates of the inputs there.
    """

    evidence: float
    values: Array
    modes: Array
    best: tuple[int, ...]
    true_frequency: tuple[float, ...]
    place: int
    deviates: Array


def weigh(
    predicted: Predicted,
    seen: Evidence,
    damping: Damping,
    *,
    plays: bool = False,
    driven: bool = False,
    without: int | None = None,
) -> Weighed:
    """Weigh one fault.

    Parameters
    ----------
    predicted : Predicted
        The modes with it.
    seen : Evidence
        What is seen.
    damping : Damping
        Prior of the damping with it.
    plays : bool
        Whether the fault is play: frequencies up to half as high, falling as the swing dies down.
    driven : bool
        Whether something keeps kicking it, such as air.
    without : int, optional
        A component to leave out, because something else explains it.

    Returns
    -------
    Weighed
    """
    chosen = [index for index in range(len(seen.components)) if index != without]
    logs, slopes = predicted.log_frequency, predicted.slopes
    values, modes = logs.shape
    images = _images(seen, logs)
    noise = np.array([_spread(component) for component in seen.components])
    own = np.sqrt((slopes**2).sum(axis=1))
    shown, aligned = _visible(predicted, seen), _aligned(predicted, seen)
    damped = [
        _damped(component, damping, image) for component, image in zip(seen.components, images, strict=True)
    ]
    lone = [
        ALONE * _stray(component, beside=_beside(seen.components[0], plays=plays, driven=driven))
        for component in seen.components
    ]
    prior = predicted.fault.prior

    def extended(way: _Way, index: int, column: int) -> _Way:
        put = way.put if column < 0 else (*way.put, (index, column))
        if column < 0:
            factor, joint = way.factor * lone[index], way.joint
        else:
            mode = column % modes
            factor = (
                way.factor * (1 - ALONE) * shown[:, mode] * aligned[index, :, mode] * damped[index][:, column]
            )
            joint = _joint(predicted, seen, put, images, noise, plays=plays)
        return _Way(put=put, factor=factor, joint=joint, weight=float((factor * joint) @ prior))

    start = _joint(predicted, seen, (), images, noise, plays=plays)
    ways = [_Way(put=(), factor=np.ones(values), joint=start, weight=float(start @ prior))]
    options = _options(logs, images, np.hypot(noise[:, None], own), _DROP if plays else 0.0)
    for index in chosen:
        grown = []
        for way in ways:
            taken = {column % modes for _, column in way.put}
            grown += [
                extended(way, index, column)
                for column in options[index]
                if column < 0 or column % modes not in taken
            ]
        least = _HOPELESS_WAY * max(way.weight for way in grown)
        ways = sorted((way for way in grown if way.weight >= least), key=lambda way: -way.weight)[:_MOST_WAYS]
    total = np.zeros(values)
    table = np.zeros((len(seen.components), modes + 1))
    for way in ways:
        total += way.factor * way.joint
        where = dict(way.put)
        for index in chosen:
            table[index, where[index] % modes if index in where else -1] += way.weight
    best = dict(ways[0].put)
    place = int((ways[0].factor * ways[0].joint * prior).argmax())
    weights = total * predicted.fault.prior
    evidence = float(weights.sum()) * _bent(seen.bend, plays=plays) * _kicked(seen.kicks, driven=driven)
    sums = table.sum(axis=1, keepdims=True)
    full = [best.get(index, -1) for index in range(len(seen.components))]
    return Weighed(
        evidence=evidence,
        values=weights / weights.sum() if weights.sum() > 0 else predicted.fault.prior,
        modes=np.divide(table, sums, out=np.zeros_like(table), where=sums > 0),
        best=tuple(-1 if column < 0 else column % modes for column in full),
        true_frequency=tuple(
            np.nan if column < 0 else float(images[index][place, column]) for index, column in enumerate(full)
        ),
        place=place,
        deviates=_deviates(predicted, seen, ways[0].put, images, noise, place),
    )


def weigh_rest(predicted: Predicted, seen: Evidence, damping: Damping) -> Array:
    """Weigh the rig for all components but one.

    Parameters
    ----------
    predicted : Predicted
        The rig as described.
    seen : Evidence
        What is seen.
    damping : Damping
        Of the rig.

    Returns
    -------
    array, shape (c,)
        Evidence without each of them in turn.
    """
    return np.array(
        [weigh(predicted, seen, damping, without=index).evidence for index in range(len(seen.components))]
    )


def weigh_source(rest: Array, seen: Evidence, source: Source | None, damping: Damping) -> tuple[float, Array]:
    """Weigh that one of the components comes from elsewhere, and the rig explains the rest.

    Parameters
    ----------
    rest : array, shape (c,)
        See `weigh_rest`.
    seen : Evidence
        What is seen.
    source : Source or None
        Where it comes from; None for a source of any frequency.
    damping : Damping
        Of that component.

    Returns
    -------
    evidence : float
        As in `Weighed`.
    which : array, shape (c,)
        How probably each component is the one.
    """
    components = seen.components
    size = np.array([component.amplitude for component in components])
    fits = np.array(
        [
            _stray(component, damping=damping)
            if source is None
            else _near(component, source, seen) * damping.density(component)
            for component in components
        ]
    )
    each = size / size.sum() * fits * rest
    whole = float(each.sum())
    return whole, each / whole if whole > 0 else each


# -- parts of the product ---------------------------------------------------------------------------------

_DROP = 0.6
"""How far a frequency may have dropped through play (logarithm)."""
_HARMONIC, _AROUND = 0.01, 0.1


def _spread(component: Component) -> float:
    """Standard deviation of the logarithm of a frequency."""
    low, high = component.frequency_range
    return float(np.hypot((high - low) / (2 * Z90 * component.frequency), MODEL_ERROR))


def _images(seen: Evidence, logs: Array) -> Array:
    """The two images of each component nearest to each mode at each value, Hz: (c, n, 2 m), all nearest ones first.

    Near a multiple of half the frame rate both may be meant.
    """
    frequency = np.exp(logs)
    rate = seen.frame_rate
    result = np.zeros((len(seen.components), logs.shape[0], 2 * logs.shape[1]))
    for index, component in enumerate(seen.components):
        order = np.floor(frequency / rate)
        all_of_them = np.stack(
            [
                np.abs(order * rate - component.frequency),
                order * rate + component.frequency,
                (order + 1) * rate - component.frequency,
                (order + 1) * rate + component.frequency,
            ]
        )
        nearest = np.argsort(np.abs(all_of_them - frequency), axis=0, kind="stable")
        two = np.take_along_axis(all_of_them, nearest[:2], axis=0)
        result[index] = np.maximum(np.concatenate([two[0], two[1]], axis=1), 1e-3)
    return result


def _damped(component: Component, damping: Damping, images: Array) -> Array:
    """Density of a component's damping for each value and mode (n, m); images are few, or the seen one itself."""
    shares, which = np.unique(component.frequency / images, return_inverse=True)
    each = np.array([damping.density(component, float(share)) for share in shares])
    return np.asarray(each[which].reshape(images.shape))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Way:
    """Components put to modes so far: (component, column of its images), densities at each value, and the weight."""

    put: tuple[tuple[int, int], ...]
    factor: Array
    joint: Array
    weight: float


def _options(logs: Array, images: Array, reach: Array, loosest: float) -> list[list[int]]:
    """The columns of its images that each component may be, -1 for none; none where it is far from all values."""
    options = []
    twice = np.tile(reach, (1, 2))
    for index in range(len(images)):
        away = np.tile(logs, (1, 2)) - np.log(images[index])
        near = (away > -_FAR * twice[index]) & (away < _FAR * twice[index] + loosest)
        options.append([-1, *np.flatnonzero(near.any(axis=0)).tolist()])
    return options


def _joint(
    predicted: Predicted,
    seen: Evidence,
    put: tuple[tuple[int, int], ...],
    images: Array,
    noise: Array,
    *,
    plays: bool,
) -> Array:
    """Density of the frequencies that are put to modes, at each value [1/Hz each], and of the bench's sag."""
    values = len(predicted.log_frequency)
    away, slopes, spread = _residuals(predicted, seen, put, images, noise)
    if not away.shape[1]:
        return np.ones(values)
    covariance = slopes @ slopes.T + np.diag(spread**2)
    inverse, determinant = np.linalg.inv(covariance), float(np.linalg.det(covariance))
    factor = 1.0 / np.sqrt((2 * np.pi) ** away.shape[1] * determinant)
    width = np.ones(values)
    for index, column in put:
        width = width * images[index][:, column]
    if not plays:
        power = np.einsum("ni,ij,nj->n", away, inverse, away)
        return np.asarray(factor * np.exp(-0.5 * power) / width)
    # Through play all bending frequencies drop together, by any share up to the largest.
    drops = np.linspace(0.0, _DROP, 25)
    count = len(put)
    moved = np.repeat(away[None], len(drops), axis=0)
    moved[:, :, :count] += drops[:, None, None]
    power = np.einsum("dni,ij,dnj->dn", moved, inverse, moved)
    return np.asarray(factor * np.exp(-0.5 * power).mean(axis=0) / width)


def _residuals(
    predicted: Predicted, seen: Evidence, put: tuple[tuple[int, int], ...], images: Array, noise: Array
) -> tuple[Array, Array, Array]:
    """Seen less predicted logarithms (n, r), their slopes (r, k) and own standard deviations (r,)."""
    logs = predicted.log_frequency
    modes = logs.shape[1]
    away = [np.log(images[index][:, column]) - logs[:, column % modes] for index, column in put]
    slopes = [predicted.slopes[column % modes] for _, column in put]
    spread = [float(noise[index]) for index, _ in put]
    if seen.bench is not None and predicted.log_sag is not None and predicted.sag_slopes is not None:
        away.append(np.nan_to_num(np.log(seen.bench.sag) - predicted.log_sag, nan=1e3))
        slopes.append(predicted.sag_slopes)
        spread.append(float(np.hypot(seen.bench.spread, 2 * MODEL_ERROR)))
    count = predicted.slopes.shape[1]
    return (
        np.stack(away, axis=1) if away else np.zeros((len(logs), 0)),
        np.array(slopes).reshape(-1, count),
        np.array(spread),
    )


def _deviates(
    predicted: Predicted,
    seen: Evidence,
    put: tuple[tuple[int, int], ...],
    images: Array,
    noise: Array,
    place: int,
) -> Array:
    """Mean of the inputs' deviates, given the residuals at one value."""
    away, slopes, spread = _residuals(predicted, seen, put, images, noise)
    if not away.shape[1]:
        return np.zeros(predicted.slopes.shape[1])
    covariance = slopes @ slopes.T + np.diag(spread**2)
    return np.asarray(slopes.T @ np.linalg.solve(covariance, away[place]))


def _motions(predicted: Predicted, seen: Evidence) -> tuple[Array, Array]:
    """Movement on screen of the followed point in each mode (n, 2, m), and how far its lever could add (n, m)."""
    shift, turn = predicted.shape[:, :3], predicted.shape[:, 3:]
    if seen.point is not None:
        shift = shift + np.cross(turn, seen.point[None, :, None], axis=1)
    lever = 0.0 if seen.point is not None else seen.lever
    around = lever * np.linalg.norm(turn, axis=1) * float(np.linalg.norm(seen.view, 2))
    return np.asarray(seen.view @ shift), around


def _visible(predicted: Predicted, seen: Evidence) -> Array:
    """How probably a swing that is seen is each mode, by how much it shows, (n, m)."""
    omega = 2 * np.pi * np.exp(predicted.log_frequency)
    motion, around = _motions(predicted, seen)
    shows = np.hypot(np.linalg.norm(motion, axis=1), 0.5 * around)
    if seen.push is None:
        driven = np.hypot(
            np.linalg.norm(predicted.shape[:, :3], axis=1),
            seen.lever * np.linalg.norm(predicted.shape[:, 3:], axis=1),
        )
        shows = shows * driven / omega
    else:
        driven = np.abs(np.einsum("nmi,pi->npm", predicted.participation, seen.push)).max(axis=1)
        shows = shows * driven / omega**2
    share = np.sqrt(shows / np.maximum(shows.max(axis=1, keepdims=True), 1e-300))
    share = np.maximum(share, _LEAST_VISIBLE)
    return np.asarray(share / share.sum(axis=1, keepdims=True))


def _aligned(predicted: Predicted, seen: Evidence) -> Array:
    """Density of each component's direction over that of any direction, for each value and mode, (c, n, m).

    Modes of nearly equal frequency swing together: after a straight move in the direction in which that drives them,
    after a tap in any.
    """
    motion, around = _motions(predicted, seen)
    logs = predicted.log_frequency
    near = np.abs(logs[:, :, None] - logs[:, None, :]) < _PAIR
    free = np.linalg.norm(motion, axis=1) < around
    if seen.push is None or len(seen.push) > 1:
        free = free | (near.sum(axis=2) > 1)
    else:
        driven = np.einsum("nmi,i->nm", predicted.participation, seen.push[0])
        motion = np.einsum("nxk,nk,nmk->nxm", motion, driven, near.astype(float))
    angle = np.arctan2(motion[:, 1], motion[:, 0])
    result = np.ones((len(seen.components), *logs.shape))
    for index, component in enumerate(seen.components):
        low, high = component.direction_range
        spread = float(np.hypot((high - low) / (2 * Z90), _DIRECTION_SPREAD))
        seen_angle = float(np.arctan2(component.direction[1], component.direction[0]))
        # y may count up or down in the track.
        away = np.minimum(_turned(seen_angle - angle), _turned(seen_angle + angle))
        density = np.pi * np.exp(-0.5 * (away / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        result[index] = np.where(free, 1.0, _ANY_DIRECTION + (1 - _ANY_DIRECTION) * density)
    return result


def _turned(angle: Array) -> Array:
    """Angle between two lines, 0 to pi/2."""
    return np.abs((angle + 0.5 * np.pi) % np.pi - 0.5 * np.pi)


_ANYTHING = Damping(median=0.01, low=0.0005, high=0.1, steady=0.3)


def _beside(main: Component, *, plays: bool, driven: bool) -> tuple[tuple[float, float], ...]:
    """Frequencies [Hz] at which the largest swing brings others with it, and their spread (logarithm).

    A gap distorts it: overtones. Kicks keep it from being a plain one: parts all around it.
    """
    overtones = ((2 * main.frequency, _HARMONIC), (3 * main.frequency, _HARMONIC)) if plays else ()
    return (*overtones, (main.frequency, _AROUND)) if driven else overtones


def _stray(
    component: Component,
    *,
    beside: tuple[tuple[float, float], ...] = (),
    damping: Damping = _ANYTHING,
) -> float:
    """Density of a component that nothing of the rig explains [1/Hz, per unit of damping]."""
    if not component.frequency > 0:
        return 0.0
    density = 1.0 / (component.frequency * float(np.log(_HIGHEST / _LOWEST)))
    for frequency, spread in beside:
        away = np.log(component.frequency / frequency) / spread
        bell = np.exp(-0.5 * away**2) / (component.frequency * spread * np.sqrt(2 * np.pi))
        density += 0.5 / ALONE * float(bell)
    return density * damping.density(component)


def _near(component: Component, source: Source, seen: Evidence) -> float:
    """Density of a component that has the source's frequency [1/Hz]."""
    low, high = component.frequency_range
    spread = float(np.hypot((high - low) / (2 * Z90 * component.frequency), source.spread))
    rate = seen.frame_rate
    folded = source.frequency % rate
    folded = max(min(folded, rate - folded), 1e-6)
    away = np.log(component.frequency / folded) / spread
    return float(np.exp(-0.5 * away**2) / (component.frequency * spread * np.sqrt(2 * np.pi)))


def _kicked(kicks: float | None, *, driven: bool) -> float:
    """Density of how much the swing is kicked."""
    if kicks is None:
        return 1.0
    driven_so = kicks / _KICKS**2 * np.exp(-0.5 * (kicks / _KICKS) ** 2)
    if driven:
        return float(driven_so) + 1e-6
    # A bad fit of a sound rig looks kicked too, now and then.
    return float((1 - _ODD) * np.exp(-kicks / _UNKICKED) / _UNKICKED + _ODD * driven_so)


def _bent(bend: Bend | None, *, plays: bool) -> float:
    """Density of the change of frequency as the swing dies down."""
    if bend is None:
        return 1.0
    spread = float(np.hypot(bend.spread, _STRAIGHT))
    straight = np.exp(-0.5 * (bend.change / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    # What a sound rig can hardly do is still likelier to be an odd take than impossible.
    straight = 0.98 * straight + 0.02 * np.exp(-0.5 * (bend.change / _PLAY_CHANGE) ** 2) / (
        _PLAY_CHANGE * np.sqrt(2 * np.pi)
    )
    if not plays:
        return float(straight)
    wide = float(np.hypot(_PLAY_CHANGE, spread))
    falls = np.exp(-0.5 * (bend.change / wide) ** 2) / (wide * np.sqrt(2 * np.pi))
    return float(2 * falls if bend.change < 0 else 0.1 * falls)
