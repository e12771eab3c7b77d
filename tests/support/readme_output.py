"""The program's output in the README: rendered by the program itself, so that it cannot rot.

A block that opens with ```` ```console ```` and a line ``$ rigcheck ...`` shows what that command prints at 80
columns, or its first lines where a comment before it says how many. `python tests/support/readme_output.py` renders
them anew; `tests/test_readme_output.py` holds them current.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

CHECKOUT = Path(__file__).parents[2]
README = CHECKOUT / "README.md"
BLOCK = re.compile(
    r"(?:<!-- the first (?P<most>\d+) lines -->\n)?^```console\n\$ (?P<command>[^\n]*)\n(?P<output>.*?)^```$",
    re.MULTILINE | re.DOTALL,
)
CUT = "..."


def printed(command: str, folder: Path) -> str:
    """What a command prints at 80 columns, in a folder that holds `shared/`; `FILE` with ``<`` is its input."""
    words = shlex.split(command)
    assert words[0] == "rigcheck", command
    answers = None
    if "<" in words:
        answers = (folder / words[words.index("<") + 1]).read_text(encoding="utf-8")
        words = words[: words.index("<")]
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    done = subprocess.run(
        [sys.executable, "-m", *words],
        cwd=folder,
        env={**environment, "PYTHONPATH": str(CHECKOUT), "PYTHONIOENCODING": "utf-8", "COLUMNS": "80"},
        input=answers,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode in (0, 1), done.stderr
    return "".join(f"{line.rstrip()}\n" for line in done.stdout.splitlines())


def shown(output: str, most: int | None) -> str:
    """As much of it as the README shows."""
    lines = output.splitlines(keepends=True)
    return output if most is None or len(lines) <= most else "".join(lines[:most]) + f"{CUT}\n"


def rendered(text: str) -> str:
    """The README with every block of output rendered anew."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        shutil.copytree(CHECKOUT / "shared", folder / "shared")

        def block(found: re.Match[str]) -> str:
            most = int(found["most"]) if found["most"] else None
            output = shown(printed(found["command"], folder), most)
            start = found.start("output") - found.start()
            return f"{found[0][:start]}{output}```"

        return BLOCK.sub(block, text)


if __name__ == "__main__":
    README.write_text(rendered(README.read_text(encoding="utf-8")), encoding="utf-8")
