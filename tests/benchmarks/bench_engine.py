"""How many variants a second the frame engine settles and finds three modes of, on one core.

Run it as ``python tests/benchmarks/bench_engine.py``. Times are user processor time, best of a few repeats, which
is what a shared machine disturbs least. The figures to reach, by the condensed frame: 50,000 straight and 10,000
bent two-support variants a second, three frequencies within 1e-4 of the general path at its default order.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

if __name__ == "__main__":
    # Before numpy is loaded: one thread, and the checkout's own modules.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
    sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "support")]

import resource
from collections.abc import Callable

import numpy as np
from figures import Figure
from rig_builders import GRAVITY, make_prop, make_support, round_line, stack
from scipy.linalg import eigh

from rigcheck.mechanics.condensed import FEW_MODES, CondensedFrame
from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Frame, Prop, Support
from rigcheck.mechanics.modes import natural_modes
from rigcheck.mechanics.statics import settle

COUNT = 3
LISTED = 6
WEIGHT = np.array([0.0, -GRAVITY, 0.0])
VARIANTS = 4096


def user_time() -> float:
    """Processor time of this process without the system's [s]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_utime


def keep_memory() -> None:
    """Let the C library keep freed memory, which costs a page fault for every 4 kB of every step otherwise.

    glibc hands less back to the system once it has seen a large block come and go (mallopt(3), M_MMAP_THRESHOLD,
    M_TRIM_THRESHOLD). A process that has worked on large arrays before has done so by itself.
    """
    np.empty(30 << 20, dtype=np.uint8)


TARGETS = {"straight": 50_000.0, "bent pair": 10_000.0}


def straight_rigs(count: int) -> tuple[list[Support], Prop]:
    """Horizontal wires of many sizes with an eccentric prop."""
    rng = np.random.default_rng(1)
    supports, props = [], []
    for diameter, length, mass in zip(
        rng.uniform(1e-3, 6e-3, count),
        rng.uniform(0.05, 0.3, count),
        rng.uniform(0.02, 0.4, count),
        strict=True,
    ):
        supports.append(make_support([[0, 0, -length], [0, 0, 0]], round_line(diameter)))
        props.append(make_prop(mass, [0, 0, 0.012], np.array([1.0, 1.4, 1.9]) * mass * 4e-4))
    return [stack(supports)], stack(props)


def bent_pairs(count: int) -> tuple[list[Support], Prop]:
    """Two bent wires, each of two segments, into one prop."""
    rng = np.random.default_rng(2)
    left, right, props = [], [], []
    for diameter, length, mass in zip(
        rng.uniform(1e-3, 6e-3, count),
        rng.uniform(0.05, 0.3, count),
        rng.uniform(0.02, 0.4, count),
        strict=True,
    ):
        line = round_line(diameter)
        left.append(make_support([[-0.03, 0.02, -length], [-0.03, 0.02, -0.02], [-0.015, 0, 0]], line))
        right.append(make_support([[0.03, 0.02, -length], [0.03, 0.02, -0.02], [0.015, 0, 0]], line))
        props.append(make_prop(mass, [0, -0.01, 0.012], np.array([1.0, 1.4, 1.9]) * mass * 4e-4))
    return [stack(left), stack(right)], stack(props)


def part(item: Support | Prop, chosen: slice) -> Support | Prop:
    """Some variants of a batch."""
    values = {name: value if value is None else value[chosen] for name, value in vars(item).items()}
    return type(item)(**values)


def chunks(supports: list[Support], prop: Prop, size: int) -> list[tuple[list[Support], Prop]]:
    """The batch cut into smaller ones."""
    places = [slice(start, start + size) for start in range(0, len(prop.mass), size)]
    return [([part(support, place) for support in supports], part(prop, place)) for place in places]


Batches = list[tuple[list[Support], Prop]]


def run(batches: Batches, order: Order, count: int, watch: dict[str, float]) -> None:
    """Frame, settled state and the lowest modes of every batch; adds the time of each step."""
    for supports, prop in batches:
        begin = user_time()
        frame = Frame(supports, prop, order)
        load = frame.inertial_load(WEIGHT)
        stiffness, mass = frame.stiffness, frame.mass
        built = user_time()
        settled = settle(frame, load)
        still = user_time()
        natural_modes(frame, settled.stiffness, count)
        end = user_time()
        assert stiffness.shape == mass.shape
        watch["build"] += built - begin
        watch["settle"] += still - built
        watch["modes"] += end - still


def run_condensed(batches: Batches, order: Order, count: int, watch: dict[str, float]) -> None:
    """The same by the condensed frame."""
    for supports, prop in batches:
        begin = user_time()
        frame = CondensedFrame(Frame(supports, prop, order))
        built = user_time()
        settled = frame.settle(WEIGHT)
        still = user_time()
        frame.modes(settled, count)
        end = user_time()
        watch["build"] += built - begin
        watch["settle"] += still - built
        watch["modes"] += end - still


def run_check(batches: Batches, order: Order, count: int, watch: dict[str, float]) -> None:
    """What a check takes of the condensed frame: settled state, buckling, and all modes that move the prop."""
    for supports, prop in batches:
        begin = user_time()
        frame = CondensedFrame(Frame(supports, prop, order))
        built = user_time()
        settled = frame.settle(WEIGHT)
        frame.buckling_factor(settled)
        still = user_time()
        frame.motion(settled, least_share=1e-4, steps=2)
        end = user_time()
        watch["build"] += built - begin
        watch["settle"] += still - built
        watch["modes"] += end - still


def rate(
    way: Callable[[Batches, Order, int, dict[str, float]], None],
    supports: list[Support],
    prop: Prop,
    order: Order,
    count: int,
    size: int,
    repeats: int = 7,
) -> tuple[float, dict[str, float]]:
    """Variants a second in chunks of `size`, and the share of time of each step, best of a few repeats."""
    batches = chunks(supports, prop, size)
    best: dict[str, float] = {}
    for _ in range(repeats):
        watch = {"build": 0.0, "settle": 0.0, "modes": 0.0}
        way(batches, order, count, watch)
        if not best or sum(watch.values()) < sum(best.values()):
            best = watch
    whole = sum(best.values())
    return len(prop.mass) / whole, {name: value / whole for name, value in best.items()}


def differences(supports: list[Support], prop: Prop) -> tuple[float, float]:
    """Largest of the condensed frame against the general path: displacement, and frequency of three modes."""
    frame = Frame(supports, prop)
    settled = settle(frame, frame.inertial_load(WEIGHT))
    reference = natural_modes(frame, settled.stiffness, COUNT).angular_frequency
    few = CondensedFrame(Frame(supports, prop, FEW_MODES))
    state = few.settle(WEIGHT)
    moved = settled.state[:, :3]
    size = np.abs(moved).max(axis=1, keepdims=True)
    return (
        float(np.max(np.abs(state.displacement[:, :3] - moved) / size)),
        float(np.max(np.abs(few.modes(state, COUNT).angular_frequency / reference - 1))),
    )


def one_by_one(count: int = 40) -> float:
    """Variants a second by scikit-fem: one plane of the same straight wires, 4 cubic elements, one at a time.

    One plane of two and neither stretch nor twist, so the comparison flatters it.
    """
    from skfem import Basis, BilinearForm, ElementLineHermite, LinearForm, MeshLine, asm
    from skfem.helpers import dd

    supports, prop = straight_rigs(count)
    begin = user_time()
    for number in range(count):
        length = float(np.linalg.norm(supports[0].points[number, 1] - supports[0].points[number, 0]))
        rigidity = supports[0].bending_stiffness_z[number, 0]
        density = supports[0].mass_per_length[number, 0]
        basis = Basis(MeshLine(np.linspace(0, length, 5)), ElementLineHermite(), intorder=6)
        keep = np.setdiff1d(np.arange(basis.N), basis.nodal_dofs[:, 0])
        bending = asm(BilinearForm(lambda u, v, w: dd(u)[0, 0] * dd(v)[0, 0]), basis).toarray()[
            np.ix_(keep, keep)
        ]
        mass = asm(BilinearForm(lambda u, v, w: u * v), basis).toarray()[np.ix_(keep, keep)] * density
        load = asm(LinearForm(lambda v, w: v), basis)[keep] * density * GRAVITY
        reach = prop.centre_of_mass[number, 2]
        body = prop.mass[number] * np.array([[1.0, reach], [reach, reach**2]])
        body[1, 1] += prop.inertia[number, 0, 0]
        mass[-2:, -2:] += body
        load[-2:] += body[:, 0] * GRAVITY
        np.linalg.solve(rigidity * bending, load)
        eigh(rigidity * bending, mass, eigvals_only=True, subset_by_index=[0, 2])
    return count / (user_time() - begin)


def main() -> None:
    """Print the tables."""
    keep_memory()
    single = one_by_one()
    print(f"numpy {np.__version__}, one thread, user processor time, best of 7")
    print(f"scikit-fem, straight, one by one: {single:,.0f} a second\n")
    print("rig        way        modes  chunk   a second  build settle modes  times scikit-fem")
    kinds = (
        ("straight", straight_rigs(4096), straight_rigs(512)),
        ("bent pair", bent_pairs(1024), bent_pairs(64)),
    )
    for kind, many, fewer in kinds:
        plan = (
            ("condensed", run_condensed, many, FEW_MODES, COUNT, (128, 256, 512)),
            ("check", run_check, many, Order(), COUNT, (128, 512)),
            ("general", run, fewer, Order(), COUNT, (64, 256)),
            ("general", run, fewer, Order(), LISTED, (64, 256)),
        )
        for name, way, (supports, prop), order, count, sizes in plan:
            for size in sizes:
                speed, shares = rate(way, supports, prop, order, count, size)
                steps = " ".join(f"{shares[step]:5.0%}" for step in ("build", "settle", "modes"))
                times = f"{speed / single:10.0f}" if kind == "straight" else ""
                print(f"{kind:10s} {name:9s} {count:6d} {size:6d} {speed:10,.0f}  {steps} {times}")
        speed = max(rate(run_condensed, *many, FEW_MODES, COUNT, size)[0] for size in (256, 512))
        Figure(
            what=f"frame engine, {kind}, settled state and 3 modes",
            value=speed,
            unit="a second",
            target=TARGETS[kind],
            least=True,
            against=f"{speed / single:.0f} times scikit-fem, one straight wire at a time",
        ).tell()
        moved, frequency = differences(*fewer)
        print(f"{kind}, condensed against general: displacement {moved:.0e}, frequency {frequency:.0e}\n")


if __name__ == "__main__":
    main()
