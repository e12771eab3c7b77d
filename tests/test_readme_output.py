"""The output that the README shows is what the program prints."""

from __future__ import annotations

import readme_output

README = readme_output.README.read_text(encoding="utf-8")


def test_the_readme_shows_what_the_program_prints():
    blocks = list(readme_output.BLOCK.finditer(README))
    commands = [block["command"].split()[1] for block in blocks]
    assert {"start", "check", "choose", "retime", "explain", "stock"} <= set(commands)
    assert all(block["output"].strip() for block in blocks)
    now = readme_output.rendered(README)
    for old, new in zip(blocks, readme_output.BLOCK.finditer(now), strict=True):
        assert old["output"] == new["output"], "python tests/support/readme_output.py renders it anew"
    assert now == README


def test_a_changed_figure_is_seen():
    assert readme_output.shown("a\nb\nc\n", 2) == "a\nb\n...\n"
    assert readme_output.shown("a\nb\n", 2) == "a\nb\n"
    changed = README.replace("PASS  inkwell", "PASS  inkwall", 1)
    assert changed != README
    assert readme_output.BLOCK.search(changed)["output"] != readme_output.BLOCK.search(README)["output"]
