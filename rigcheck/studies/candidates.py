"""What could carry a prop: every stock size on one, two or three supports, as batches for the one engine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.model import Prop, Shot, Support
from rigcheck.stock import find_clamp, find_material, names, stock_sizes
from rigcheck.studies.beside import on_several, side_by_side
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.reading.supports import choices_for, constants_of, stock_material
from rigcheck.studies.rigs import END_BENDS, GRAVITY, LINE_SHARE, Material, SupportRig, repeat
from rigcheck.studies.task import Choices, Task, Tube
from rigcheck.units import measured

__all__ = [
    "Candidates",
    "Item",
    "own_items",
    "room_for",
    "shot_with",
    "spacing_for",
    "stock_items",
    "tubes_of",
    "wide_choices",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

USUAL_SPACING = 0.03
"""Between several supports where the prop's size is not known [m]: a choice, stated as one."""
SPACING_SHARE = 0.6
"""Share of the prop's extent over which several supports are spread: a choice, stated as one."""
_FORMS = ("round", "tube", "strip", "threaded")


@dataclass(frozen=True, kw_only=True)
class Item:
    """One thing that can be bought. Sizes in metres, None where the section has none.

    Attributes
    ----------
    material : str
        A name from stock or one of the shot's own.
    section : str
        ``round``, ``tube``, ``strip`` or ``threaded``.
    diameter, wall, width, thickness : float or None
        [m].
    label : str
        The size as it is sold.
    buy_ease : int
        3 in any shop, 2 at a specialist, 1 to order.
    shape_ease : int
        2 bends by hand, 1 bends over a former, 0 does not bend: it breaks.
    """

    material: str
    section: str
    diameter: float | None = None
    wall: float | None = None
    width: float | None = None
    thickness: float | None = None
    label: str
    buy_ease: int = 2
    shape_ease: int = 1

    @property
    def across(self) -> float:
        """Diameter, or thickness of a strip [m]."""
        value = self.thickness if self.section == "strip" else self.diameter
        assert value is not None  # every section has one of the two
        return value


def stock_items(shot: Shot) -> tuple[Item, ...]:
    """Give every size of every material in stock that can carry a prop.

    Parameters
    ----------
    shot : Shot
        A material of its own replaces the one of the same name in stock.

    Returns
    -------
    tuple of Item
        Lines are left out: they only pull.
    """
    return tuple(item for name in names() if shot.own_material(name) is None for item in _items_of(name))


def _items_of(name: str) -> list[Item]:
    stock = find_material(name)
    return [
        Item(
            material=name,
            section=size.section,
            diameter=size.diameter,
            wall=size.wall_thickness,
            width=size.width,
            thickness=size.thickness,
            label=size.label,
            buy_ease=stock.buy_ease,
            shape_ease=0 if stock.brittle else 2 if stock.soft_temper else 1,
        )
        for size in stock_sizes(name)
        if size.section in _FORMS
    ]


def own_items(shot: Shot) -> tuple[Item, ...]:
    """Give the supports of a shot as things that can be bought: a list of stock is written as a rig file.

    Parameters
    ----------
    shot : Shot
        Each support of each of its props is one size.

    Returns
    -------
    tuple of Item
        Each once.

    Raises
    ------
    ArgumentError
        None of them can stand by itself: lines and strands.
    """
    items: dict[tuple[Any, ...], Item] = {}
    for prop in shot.prop:
        for support in prop.support:
            stock = stock_material(shot, support.material)
            if support.section not in _FORMS or "line" in stock.forms:
                continue
            sizes = [
                None if value is None else value.m_as("m")
                for value in (support.diameter, support.wall, support.width, support.thickness)
            ]
            label = {
                "tube": f"{support.diameter} x {support.wall}",
                "strip": f"{support.width} x {support.thickness}",
            }.get(support.section, str(support.diameter))
            items.setdefault(
                (support.material, support.section, *sizes),
                Item(
                    material=support.material,
                    section=support.section,
                    diameter=sizes[0],
                    wall=sizes[1],
                    width=sizes[2],
                    thickness=sizes[3],
                    label=label,
                    buy_ease=stock.buy_ease,
                    shape_ease=0 if stock.brittle else 2 if stock.soft_temper else 1,
                ),
            )
    if not items:
        raise ArgumentError(
            "The stock list has nothing to choose from: it needs at least one round, tube, strip or threaded support."
        )
    return tuple(items.values())


def tubes_of(shot: Shot, items: Sequence[Item]) -> tuple[Tube, ...]:
    """The tubes among the items, with their constants, for the cures."""
    return tuple(
        Tube(
            name=item.material,
            diameter=item.diameter,
            wall_thickness=item.wall,
            constants=constants_of(stock_material(shot, item.material), np.array([item.diameter])),
        )
        for item in items
        if item.section == "tube" and item.diameter is not None and item.wall is not None
    )


def wide_choices(shot: Shot, prop: Prop, items: Sequence[Item] | None = None) -> Choices:
    """Everything that a thorough search for cures may take instead of a prop's first support.

    Parameters
    ----------
    shot : Shot
        The shot.
    prop : Prop
        One of its props.
    items : sequence of Item, optional
        What can be had; all of stock if left out.

    Returns
    -------
    Choices
    """
    tubes = tubes_of(shot, stock_items(shot) if items is None else items)
    return replace(choices_for(shot, prop.support[0]), tubes=tubes, room=room_for(prop))


def room_for(prop: Prop) -> float | None:
    """How far apart supports may stand in the prop [m]: its least extent across the first; None if unknown."""
    if prop.size is None:
        return None
    size = np.array([side.m_as("m") for side in prop.size])
    along = _direction(prop.support[0])
    # The side along which the support runs does not limit it.
    return float(np.delete(size, int(np.abs(along).argmax())).min())


def spacing_for(prop: Prop) -> float:
    """Spacing of several supports [m]: a share of the room in the prop, in whole millimetres."""
    room = room_for(prop)
    if room is None:
        return USUAL_SPACING
    return max(1e-3, round(SPACING_SHARE * room * 1e3) * 1e-3)


def _direction(support: Support) -> Array:
    from rigcheck.model import SIDES

    if support.path is None:
        return np.array(SIDES[support.from_])
    ends = np.array([[part.m_as("m") for part in point] for point in support.path[-2:]])
    return np.asarray((ends[0] - ends[1]) / np.linalg.norm(ends[0] - ends[1]))


class Candidates:
    """Every item on each number of supports, for one prop.

    Parameters
    ----------
    shot : Shot
        For its limits and materials.
    prop : Prop
        The one to carry. Its first support says where the supports run and how they are held.
    items : sequence of Item
        What can be bought.
    counts : sequence of int
        Numbers of supports to try, of 1, 2 and 3.
    """

    def __init__(
        self, shot: Shot, prop: Prop, items: Sequence[Item], *, counts: Sequence[int] = (1, 2, 3)
    ) -> None:
        self.shot, self.prop, self.items = shot, prop, tuple(items)
        self.spacing = spacing_for(prop)
        self.reading = read_prop(shot, _with_supports(prop, (_plain(prop.support[0]),)))
        self.task: Task = self.reading.task
        self.item = np.repeat(np.arange(len(self.items)), len(counts))
        self.count = np.tile(np.array(counts, dtype=np.intp), len(self.items))

    def __len__(self) -> int:
        return len(self.item)

    @cached_property
    def material(self) -> Material:
        """Constants of each item, shape (items,)."""
        columns = np.full((5, len(self.items)), np.nan)
        by_name: dict[str, list[int]] = {}
        for index, item in enumerate(self.items):
            by_name.setdefault(item.material, []).append(index)
        for name, indices in by_name.items():
            own = self.shot.own_material(name)
            zero = 0.0 if own is not None and own.damping_ratio == 0.0 else None
            sizes = self.across[indices]
            found = constants_of(stock_material(self.shot, name), sizes, zero)
            columns[:, indices] = [
                found.youngs_modulus,
                found.shear_modulus,
                found.density,
                found.strength,
                found.damping_ratio,
            ]
        return Material(
            youngs_modulus=columns[0],
            shear_modulus=columns[1],
            density=columns[2],
            strength=columns[3],
            damping_ratio=columns[4],
        )

    @cached_property
    def across(self) -> Array:
        """Diameter of each item, or thickness of a strip [m]."""
        return np.array([item.across for item in self.items])

    @cached_property
    def sizes(self) -> dict[str, Array]:
        """Diameter, wall, width and thickness of each item [m], NaN where it has none."""

        def column(key: str) -> Array:
            values = [getattr(item, key) for item in self.items]
            return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

        return {
            "diameter": column("diameter"),
            "wall_thickness": column("wall"),
            "width": column("width"),
            "thickness": column("thickness"),
        }

    @cached_property
    def clamp_diameters(self) -> Array:
        """Softness of the clamp for each item as extra free length in diameters; NaN: it cannot be held."""
        support = self.prop.support[0]
        if support.clamp is None:
            return np.zeros(len(self.items))
        clamp = find_clamp(support.clamp)
        grip = None if support.grip is None else support.grip.m_as("m")
        sizes, place = np.unique(self.across, return_inverse=True)
        held = np.zeros(len(sizes))
        for index, size in enumerate(sizes.tolist()):
            try:
                extra = clamp.extra_length(grip_diameters=None if grip is None else grip / size)
            except ValidityError:
                held[index] = np.nan
            else:
                held[index] = 0.0 if extra is None else extra.value
        return held[place]

    @cached_property
    def forms(self) -> NDArray[np.str_]:
        """Section of each item."""
        return np.array([item.section for item in self.items])

    @cached_property
    def bending_stiffness(self) -> Array:
        """Least E I of each item [N m2], closed forms, to tell what is far too soft."""
        E, size = self.material.youngs_modulus, self.sizes
        bore = np.where(self.forms == "tube", size["diameter"] - 2 * size["wall_thickness"], 0.0)
        rod = np.pi * (size["diameter"] ** 4 - bore**4) / 64
        flat = size["width"] * size["thickness"] ** 3 / 12
        return np.asarray(E * np.where(self.forms == "strip", flat, rod))

    @cached_property
    def always_doubtful(self) -> bool:
        """Whether a check would ask about a value of the prop or its moves, whatever carries it."""
        support = self.prop.support[0]
        across = support.thickness if support.section == "strip" else support.diameter
        size, length = (0.0 if across is None else across.m_as("m")), self.free_length()
        # What it asks about the support of the file itself does not count here.
        own = (length > 3.0) + (size > 0.05) + (length > 3000.0 * size)
        return len(self.reading.doubts) > own

    def least_sag(self, lengths: Array) -> Array:
        """Linear sag below which no candidate can stay [m], shape of `lengths` with candidates first.

        Parameters
        ----------
        lengths : array, shape (candidates,) or (candidates, k)
            Free length [m].

        Returns
        -------
        array
            Of the tip, from the prop's weight across the support alone, without what clamp, shear and self weight
            add: ``W L^3/(3 E I)`` for one, ``W L^3/(12 n E I)`` for n that keep each other from turning.
        """
        along = self.task.rig.supports[0].points[0]
        way = along[-1] - along[0]
        level = float(np.hypot(way[0], way[2]) / np.linalg.norm(way))
        # Weight across the support, and downward part of the tip's movement across it.
        load = GRAVITY * float(self.task.rig.mass[0]) * level**2
        stiff = self.bending_stiffness[self.item] * np.where(self.count == 1, 3.0, 12.0 * self.count)
        return np.asarray(load * lengths**3 / (stiff if lengths.ndim == 1 else stiff[:, None]))

    def may_bend_at_ends_only(self, rows: Index, lengths: Array) -> NDArray[np.bool_]:
        """Where `rigcheck.studies.rigs.divided_at_ends` may be true, told without a rig, shape (B,).

        Parameters
        ----------
        rows : int array, shape (B,)
            Which candidates.
        lengths : array, shape (B,)
            Free length of each [m].
        """
        pull = GRAVITY * self.task.rig.mass[0] / self.count[rows]
        # A thread bends about half as stiffly as a rod as thick as its crests.
        least = self.bending_stiffness[self.item[rows]] / 4
        return np.asarray(END_BENDS * np.sqrt(least / pull) < LINE_SHARE * lengths)

    def task_of(self, rows: Index, free_length: Array | None = None) -> Task:
        """The task of candidates of one count as one batch.

        Parameters
        ----------
        rows : int array, shape (B,)
            Which candidates.
        free_length : array, shape (B,), optional
            In place of the prop's [m].
        """
        items = self.item[rows]
        single = self._support(items)
        if free_length is not None:
            tip = single.points[:, -1:]
            share = (free_length / single.free_length)[:, None, None]
            single = replace(single, points=tip + (single.points - tip) * share)
        base = repeat(self.task.rig, len(rows))
        travels = repeat(self.task.travels, len(rows))
        # Offsets depend on the direction alone, so the first variant's serve all.
        rig, travels = side_by_side(
            replace(base, supports=(single,)),
            travels,
            count=int(self.count[rows[0]]),
            spacing=self.spacing,
        )
        return replace(self.task, rig=rig, travels=travels, pushes=repeat(self.task.pushes, len(rows)))

    def _support(self, items: Index) -> SupportRig:
        base = repeat(self.task.rig.supports[0], len(items))
        material, forms = self.material, self.forms[items]
        mixed = bool(np.any(forms != forms[0]))
        return replace(
            base,
            form="mixed" if mixed else str(forms[0]),
            forms=forms if mixed else None,
            material=Material(
                youngs_modulus=material.youngs_modulus[items],
                shear_modulus=material.shear_modulus[items],
                density=material.density[items],
                strength=material.strength[items],
                damping_ratio=material.damping_ratio[items],
            ),
            diameter=self.sizes["diameter"][items],
            wall_thickness=self.sizes["wall_thickness"][items],
            width=self.sizes["width"][items],
            thickness=self.sizes["thickness"][items],
            wires=1,
            clamp_diameters=self.clamp_diameters[items],
            sleeves=(),
            tension=None,
        )

    def free_length(self) -> float:
        """Free length of the prop's first support [m]."""
        return float(self.task.rig.supports[0].free_length[0])

    def is_straight(self) -> bool:
        """Whether the supports are straight, so that their length can change."""
        return bool(self.task.rig.supports[0].points.shape[1] == 2)


def shot_with(
    shot: Shot, prop: Prop, item: Item, *, count: int = 1, free_length: float | None = None
) -> Shot:
    """Give the shot with one prop on other supports, as its user would have written it.

    Parameters
    ----------
    shot : Shot
        The shot.
    prop : Prop
        One of its props.
    item : Item
        What carries it instead.
    count : int
        On how many supports side by side, 1 to 3.
    free_length : float, optional
        In place of the prop's [m]; of a straight support only.

    Returns
    -------
    Shot
        `rigcheck.studies.check.check` of it gives the verdict on the candidate.
    """
    first = _plain(prop.support[0])
    changes: dict[str, Any] = {
        "material": item.material,
        "section": item.section,
        "diameter": _metres(item.diameter),
        "wall": _metres(item.wall),
        "width": _metres(item.width),
        "thickness": _metres(item.thickness),
        "wires": None,
    }
    if free_length is not None:
        if first.length is None:
            raise ArgumentError("The support is bent: its path sets its length. Give a straight one.")
        changes["length"] = measured(free_length, "m")
    first = first.model_copy(update=changes)
    carried = on_several(prop, first, count=count, spacing=spacing_for(prop))
    props = tuple(carried if other is prop else other for other in shot.prop)
    return shot.model_copy(update={"prop": props})


def _plain(support: Support) -> Support:
    """The support without what belongs to its size: sleeves and pretension."""
    return support.model_copy(update={"sleeve": (), "tension": None})


def _with_supports(prop: Prop, supports: tuple[Support, ...]) -> Prop:
    return prop.model_copy(update={"support": supports})


def _metres(value: float | None) -> Any:
    return None if value is None else measured(value, "m")
