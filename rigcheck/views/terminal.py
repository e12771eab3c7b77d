"""The result of a check in the terminal: verdict, deciding figures, what to do next, cautions.

A verdict is always a word and a mark; colour only repeats them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from rich.cells import cell_len
from rich.text import Text

from rigcheck.studies.results import Status
from rigcheck.studies.words import share_words
from rigcheck.views.deciding import (
    FAIL_FIRST,
    WORST_FIRST,
    beside_limit,
    by_verdict,
    deciding_rows,
    is_ideal,
    ordered,
    skipped_line,
)
from rigcheck.views.format import amount, between, number, printable, sampled_chance
from rigcheck.views.wrapped import WrappedPage

if TYPE_CHECKING:
    from rich.console import Console

    from rigcheck.studies.results import (
        CheckResult,
        Figure,
        Finding,
        Influence,
        Mode,
        MotionResult,
        PropResult,
        StaticResult,
    )

__all__ = ["render_check"]

_WIDEST_LABEL = 24

# The end of a range's key, as in the JSON, and the unit it stands for.
_KEY_UNITS = {"mm": "mm", "px": "px", "s": "s", "Hz": "Hz", "deg": "deg", "MPa": "MPa", "N_m": "N*m"}

_WORDS = (("right", "left"), ("up", "down"), ("toward", "away"))  # x, y, z of a level camera
_MOST_INFLUENCES = 3  # inputs named for each figure
_VISIBLE_SHARE = 0.005  # smaller parts vanish in the three digits of the largest
_OBLIQUE_SHARE = 0.25
_SHARE_SHOWN = 0.01  # modes with less of the wobble or of the lag are not named


def render_check(console: Console, result: CheckResult, *, details: bool = False) -> None:
    """Print the result of a check for people.

    Parameters
    ----------
    console : rich.console.Console
        Where to print; its width, colours and encoding are respected. No line is longer than its width.
    result : CheckResult
        What the check handed back.
    details : bool
        Also print every finding with its advice, the modes, all figures and the assumptions.
    """
    page = WrappedPage(console)
    _shot(page, result)
    for prop in result.props:
        page.blank()
        _block(page, prop)
    _cautions(page, result)
    if details:
        for prop in result.props:
            _details(page, prop)
    else:
        page.blank()
        if any(prop.ranges for prop in result.props):
            page.write("In brackets: where the figure lies 9 times in 10.")
        if any(is_ideal(prop) for prop in result.props):
            page.write("A figure outside its brackets is the ideal: nothing is built quite as drawn.")
        page.write("More figures, modes and assumptions: add --details.")
    page.print()


def _shot(page: WrappedPage, result: CheckResult) -> None:
    """Title, the one verdict, and which props caused it."""
    page.headline(result.verdict, result.title or "Untitled shot")
    if len(result.props) > 1:
        page.write("; ".join(f"{words}: {names}" for words, names in by_verdict(result.props)), hang=2)


def _block(page: WrappedPage, prop: PropResult) -> None:
    """Verdict, name and support of one prop, its deciding figures, what is wrong and what to do."""
    page.headline(prop.verdict, prop.name)
    page.write(f"on {prop.support}", hang=2)
    rows = deciding_rows(prop)
    column = _column([row.label for row in rows])
    for row in rows:
        _labelled(page, row.label, row.value, column=column, status=row.status)
    for finding in ordered(prop.findings, FAIL_FIRST):
        page.write(finding.says, first=_status_word(page, finding.status), hang=13)
    skipped = skipped_line(prop.findings)
    if skipped:
        page.write(skipped, hang=2)
    if prop.next_step:
        first = page.text("  Do next: ", "bold")
        page.write(prop.next_step, first=first, hang=cell_len(first.plain))


def _column(labels: Iterable[str]) -> int:
    """Where the values of these rows begin; a label too long for it gets a line of its own."""
    return 6 + min(_WIDEST_LABEL, max(cell_len(printable(label)) for label in labels))


def _status_word(page: WrappedPage, status: Status, *, indent: int = 2) -> Text:
    """Mark and word at the left of a sentence."""
    return Text.assemble(" " * indent, page.mark(status), " ", (f"{status.value:9}", page.style(status)))


def _labelled(
    page: WrappedPage, label: str, value: str, *, column: int, status: Status | None = None
) -> None:
    """One row: mark, label, and the value from `column` on."""
    page.write(value, first=Text.assemble("  ", page.mark(status), " ", page.text(label), "  "), hang=column)


def _cautions(page: WrappedPage, result: CheckResult) -> None:
    """Every caution once; those of single props with their names."""
    names: dict[str, list[str]] = {}
    for prop in result.props:
        for caution in prop.cautions:
            if caution not in result.cautions and prop.name not in names.setdefault(caution, []):
                names[caution].append(prop.name)
    lines = list(dict.fromkeys(result.cautions))
    for caution, owners in names.items():
        shared = len(owners) == len(result.props)
        lines.append(caution if shared else f"{', '.join(owners)}: {caution}")
    if lines:
        page.blank()
        page.heading("Cautions")
        page.bullets(lines)


def _details(page: WrappedPage, prop: PropResult) -> None:
    """Everything that is known about one prop."""
    page.blank()
    page.heading(f"Details: {prop.name}")
    _all_checks(page, prop.findings)
    if prop.modes:
        _modes(page, prop.modes)
    if prop.static is not None:
        _table(page, f"Settled state ({prop.static.method})", _static_rows(prop.static))
    if prop.motion is not None:
        _table(
            page,
            "Worst case of the move" if prop.motion.worst_case else "The move",
            [*_motion_rows(prop.motion), *_share_rows(prop.modes)],
        )
    spread = _named_ranges(prop)
    if prop.chance_of_pass is not None:
        spread.append(("chance to pass", sampled_chance(prop.chance_of_pass)))
    _table(page, "Ranges (90 %) and chance", spread)
    if prop.influences:
        page.heading("What makes it unsure", indent=2)
        page.bullets(_influences(prop.influences), indent=4)
    _table(page, "More figures", [(figure.label, _with_note(figure)) for figure in prop.details])
    if prop.assumptions:
        page.heading("Assumptions", indent=2)
        page.bullets(prop.assumptions, indent=4)


def _all_checks(page: WrappedPage, findings: Sequence[Finding]) -> None:
    """Every finding, worst first, with its value, sentence and advice."""
    if not findings:
        return
    page.heading("Checks", indent=2)
    for finding in ordered(findings, WORST_FIRST):
        has_figure = finding.value is not None or finding.limit is not None
        head = f"{finding.label}: {beside_limit(finding)}" if has_figure else finding.label
        if finding.chance_of_pass is not None:
            head += f" (chance to pass {sampled_chance(finding.chance_of_pass)})"
        page.write(head, first=_status_word(page, finding.status, indent=4), hang=15)
        page.write(finding.says, hang=6)
        page.bullets(finding.advice, indent=6)


def _modes(page: WrappedPage, modes: Sequence[Mode]) -> None:
    """Frequency, damping, kind and direction of each mode, in columns."""
    page.heading("Modes", indent=2)
    rows = [
        (
            number(mode.frequency_Hz),
            number(mode.damping_ratio),
            mode.kind,
            _direction_in_words(mode.direction),
        )
        for mode in modes
    ]
    header = ("Hz", "damping", "kind", "moves")
    widths = [max(cell_len(printable(row[i])) for row in (header, *rows)) for i in range(3)]
    for row in (header, *rows):
        cells = Text("    ")
        for entry, width in zip(row, widths, strict=False):
            cell = page.text(entry)
            cells.append_text(cell).append(" " * (width - cell_len(cell.plain) + 2))
        page.write(row[3], first=cells, hang=cell_len(cells.plain))


def _table(page: WrappedPage, heading: str, rows: Sequence[tuple[str, str]]) -> None:
    """Labels and values under a heading; nothing where there are no rows."""
    if not rows:
        return
    page.heading(heading, indent=2)
    column = _column([label for label, _ in rows])
    for label, value in rows:
        _labelled(page, label, value, column=column)


def _static_rows(static: StaticResult) -> list[tuple[str, str]]:
    return [
        ("sag", _amount_in(static.sag_mm, "mm")),
        ("centre of mass", _movement_in_words(static.prop_displacement_mm)),
        ("tip", _movement_in_words(static.tip_displacement_mm)),
        ("prop turns", _rotation_in_words(static.prop_rotation_deg)),
        ("moment at the root", _amount_in(static.root_moment_N_m, "N*m")),
        ("peak stress", _amount_in(static.peak_stress_MPa, "MPa")),
        ("strength factor", _amount_in(static.yield_factor)),
        ("lasting set", _amount_in(static.set_mm, "mm")),
        ("buckling factor", _amount_in(static.buckling_factor)),
    ]


def _motion_rows(motion: MotionResult) -> list[tuple[str, str]]:
    rows = [
        ("off the path at most", _amount_in(motion.peak_deviation_mm, "mm")),
        ("wobble after move", f"{_amount_in(motion.residual_wobble_mm, 'mm')}, peak to peak"),
    ]
    if motion.residual_wobble_px is not None:
        rows.append(("the same on screen", amount(motion.residual_wobble_px, "px")))
    rows.append(("settle time", _amount_in(motion.settle_s, "s")))
    if motion.seen_frequency_Hz is not None:
        rows.append(("seen on playback", _amount_in(motion.seen_frequency_Hz, "Hz")))
    return rows


def _share_rows(modes: Sequence[Mode]) -> list[tuple[str, str]]:
    """Which modes the wobble and the lag on the way are made of, largest first."""
    rows = []
    for label, name in (("wobble is made of", "wobble_share"), ("lag is made of", "lag_share")):
        shares = [(getattr(mode, name) or 0.0, mode) for mode in modes]
        words = [
            f"{share_words(share)} {amount(mode.frequency_Hz, 'Hz')} {mode.kind}"
            for share, mode in sorted(shares, key=lambda pair: -pair[0])
            if share >= _SHARE_SHOWN
        ]
        if words:
            rows.append((label, "; ".join(words)))
    return rows


def _named_ranges(prop: PropResult) -> list[tuple[str, str]]:
    """Each range under its figure's name; the unit is the end of its key, as in the JSON."""
    rows = []
    for key, ends in prop.ranges.items():
        name, unit = _name_and_unit(key)
        rows.append((name, between(*ends, unit)))
    return rows


def _name_and_unit(key: str) -> tuple[str, str]:
    """A key of the JSON as words, and the unit it ends with."""
    unit = next((end for end in _KEY_UNITS if key.endswith(f"_{end}")), "")
    return key.removesuffix(f"_{unit}").replace("_", " "), _KEY_UNITS.get(unit, "")


def _influences(influences: Sequence[Influence]) -> list[str]:
    """One line a figure: what its spread comes from, and what would settle the most of it."""
    figures: dict[str, list[Influence]] = {}
    for item in influences:
        figures.setdefault(item.figure, []).append(item)
    lines = []
    for figure, items in figures.items():
        shares = ", ".join(
            f"{item.label} {share_words(item.share)}"
            for item in items[:_MOST_INFLUENCES]
            if item.share > 0.045
        )
        if shares:
            name = _name_and_unit(figure)[0]
            lines.append(f"{name}: {shares} of the spread; to know better, {items[0].measure}.")
    return lines


def _with_note(figure: Figure) -> str:
    return f"{figure.value} ({figure.note})" if figure.note else figure.value


def _amount_in(value: float | None, unit: str = "") -> str:
    return "not computed" if value is None else amount(value, unit)


def _movement_in_words(displacement_mm: Iterable[float]) -> str:
    """A displacement as words, largest part first: ``1.9 mm down, 0.2 mm away``."""
    parts = _large_parts(displacement_mm, share=_VISIBLE_SHARE)
    words = [f"{amount(abs(part), 'mm')} {_WORDS[axis][part < 0]}" for axis, part in parts]
    return ", ".join(words) or "stays"


def _rotation_in_words(rotation_deg: Iterable[float]) -> str:
    """A small rotation as turns about the axes, right-handed: ``0.9 deg about right``."""
    parts = _large_parts(rotation_deg, share=_VISIBLE_SHARE)
    return ", ".join(f"{amount(part, 'deg')} about {_WORDS[axis][0]}" for axis, part in parts) or "not at all"


def _direction_in_words(direction: Sequence[float]) -> str:
    """The line on which a mode moves the prop: ``up-down``, or ``up-right to down-left`` where it is oblique.

    Parts under a quarter of the largest (14 degrees off the axis) are left out.
    """
    parts = _large_parts(direction, share=_OBLIQUE_SHARE)
    if not parts:
        return "turns on the spot"
    if len(parts) == 1:
        return "-".join(_WORDS[parts[0][0]])
    one_end = "-".join(_WORDS[axis][part < 0] for axis, part in parts)
    other_end = "-".join(_WORDS[axis][part > 0] for axis, part in parts)
    return f"{one_end} to {other_end}"


def _large_parts(vector: Iterable[float], *, share: float) -> list[tuple[int, float]]:
    """Axis and value of the parts that reach `share` of the largest, largest first."""
    parts = [(axis, float(part)) for axis, part in enumerate(vector)]
    floor = share * max(abs(part) for _, part in parts)
    return sorted(
        (entry for entry in parts if entry[1] != 0.0 and abs(entry[1]) >= floor), key=lambda e: -abs(e[1])
    )
