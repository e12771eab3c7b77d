"""Candidates a second with the full check, and against one-by-one solution in a general finite-element library.

Run: python tests/benchmarks/bench_choose.py [--profile]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cProfile
import pstats
import resource
import sys
import time
from pathlib import Path

import numpy as np
import scipy.linalg

from rigcheck.files import read_rig
from rigcheck.studies.candidates import Candidates, Item, stock_items
from rigcheck.studies.choose import choose, grade_candidates

SHOT = Path(__file__).parents[2] / "shared" / "shots" / "desk-set.toml"
MATERIALS = ("music-wire", "stainless-304-spring", "brass-c360", "titanium-grade-5")


def ladder(count):
    """Sizes of several materials from 2.5 mm to 6 mm, `count` in all."""
    each = count // len(MATERIALS)
    return [
        Item(material=name, section="round", diameter=float(d), label=f"{d * 1e3:.4g} mm")
        for name in MATERIALS
        for d in np.linspace(2.5e-3, 6e-3, each)
    ]


def one_by_one(count):
    """Seconds a variant: cantilever with tip mass, statics and three modes, both planes, in scikit-fem."""
    import skfem
    from skfem.helpers import dd, ddot

    begin = time.perf_counter()
    for diameter in np.linspace(2.5e-3, 6e-3, count):
        mesh = skfem.MeshLine(np.linspace(0, 0.16, 9))
        basis = skfem.Basis(mesh, skfem.ElementLineHermite())
        EI, mass = 193e9 * np.pi * diameter**4 / 64, 7900 * np.pi * diameter**2 / 4
        stiff = skfem.BilinearForm(lambda u, v, w, EI=EI: EI * ddot(dd(u), dd(v))).assemble(basis).toarray()
        inert = skfem.BilinearForm(lambda u, v, w, mass=mass: mass * u * v).assemble(basis).toarray()
        tip = stiff.shape[0] - 2
        inert[tip, tip] += 0.31
        free = np.arange(2, stiff.shape[0])
        load = np.zeros(len(free))
        load[tip - 2] = 0.31 * 9.80665
        for _plane in range(2):
            np.linalg.solve(stiff[np.ix_(free, free)], load)
            scipy.linalg.eigh(stiff[np.ix_(free, free)], inert[np.ix_(free, free)], subset_by_index=(0, 2))
    return (time.perf_counter() - begin) / count


def main():
    shot = read_rig(SHOT)
    prop = shot.prop[0]
    grade_candidates(Candidates(shot, prop, ladder(64), counts=(1,)))
    rate = 0.0
    for count in (1_000, 4_000, 10_000):
        candidates = Candidates(shot, prop, ladder(count), counts=(1,))
        begin = time.perf_counter()
        graded = grade_candidates(candidates)
        spent = time.perf_counter() - begin
        rate = len(candidates) / spent
        print(
            f"{len(candidates):6d} candidates, one support: {spent:6.2f} s, {rate:8.0f} a second,"
            f" {int(graded.large.sum())} solved for large displacement"
        )
    every = Candidates(shot, prop, stock_items(shot))
    begin = time.perf_counter()
    graded = grade_candidates(every)
    spent = time.perf_counter() - begin
    print(
        f"{len(every):6d} candidates, all of stock, 1 to 3:  {spent:6.2f} s, {len(every) / spent:8.0f} a second,"
        f" {int(graded.large.sum())} solved for large displacement"
    )
    begin = time.perf_counter()
    choose(shot, prop=prop.name, pareto=True)
    print(f"choose for one prop, with reach and cures: {time.perf_counter() - begin:.2f} s")
    single = one_by_one(100)
    print(f"one by one in scikit-fem: {1 / single:.0f} a second; ratio {rate * single:.1f}")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    if "--profile" in sys.argv:
        profile = cProfile.Profile()
        profile.enable()
        grade_candidates(Candidates(shot, prop, ladder(4_000), counts=(1,)))
        profile.disable()
        pstats.Stats(profile).sort_stats("cumtime").print_stats(25)


if __name__ == "__main__":
    main()
