"""Checks whether the hidden wire, rod or tube that carries a prop will sag, sway, bend for good or overload its head.

The package's three layers can each be used alone: formulas (`rigcheck.mechanics`, `rigcheck.motion`: SI arrays),
objects (`rigcheck.model`, `rigcheck.stock`: quantities) and studies (`rigcheck.studies`).
"""

__version__ = "0.1.0"
