"""The command line: words in, a study, a view out, an exit code. No arithmetic here.

One module a command; `options` has what they share, `running` how the program prints, tells and ends. A command is
imported when it is called, so that none pays for another.

Exit codes: 0 when everything passes or is a caution, 1 when something fails, 2 for bad input or usage.
"""

from __future__ import annotations

from rigcheck.cli.group import commands
from rigcheck.cli.running import run

__all__ = ["commands", "run"]
