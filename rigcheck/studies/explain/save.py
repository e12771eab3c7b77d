"""Writing what a take has measured back as a new rig file: the old text with a few values changed, comments kept."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from rigcheck.errors import InputError, OutputError
from rigcheck.files import read_rig, rig_from_text, write_whole
from rigcheck.files.locate import KeyPath, Place, locate
from rigcheck.model import Shot, Support
from rigcheck.studies.explain.results import Change, Fitted
from rigcheck.studies.reading.supports import constants_of, stock_material

__all__ = ["fitted_text", "save_fitted"]

_SAME = 1e-3
"""Relative difference between what was to be written and what the new file reads as."""


def save_fitted(
    fitted: Fitted | None, source: str | Path, target: str | Path, *, overwrite: bool = False
) -> Path:
    """Write a new rig file with the fitted values.

    Parameters
    ----------
    fitted : Fitted or None
        What to change; None where nothing was found that could be fitted.
    source : str or Path
        The rig file that the take was explained with.
    target : str or Path
        The new file.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    InputError
        The rig file cannot be read.
    OutputError
        Nothing was fitted, a value has no place in the file, or the new file cannot be written; then nothing is.
    """
    source, target = Path(source), Path(target)
    if fitted is None or not fitted.changes:
        reasons = "" if fitted is None else " ".join(fitted.says)
        raise OutputError(f"nothing was fitted, so {target} was not written. {reasons}".rstrip())
    shot = read_rig(source)
    text = source.read_bytes().decode("utf-8-sig")
    return write_whole(target, fitted_text(fitted, shot, text, target.parent), overwrite=overwrite)


def fitted_text(fitted: Fitted, shot: Shot, text: str, folder: Path | None = None) -> str:
    """The text of a rig file with the fitted values in it.

    Parameters
    ----------
    fitted : Fitted
        What to change.
    shot : Shot
        What the text says.
    text : str
        Of the rig file.
    folder : Path, optional
        Where the new file will lie, for the files that it names.

    Returns
    -------
    str

    Raises
    ------
    OutputError
        A value has no place in the text, or the new text does not read as it should.
    """
    number = [prop.name for prop in shot.prop].index(fitted.prop)
    note = f"fitted to {' '.join(fitted.take.split()) or 'a take'}"
    note = "".join(letter for letter in note if letter.isprintable())
    for change in fitted.changes:
        if change.key == "damping_ratio":
            now = _read_again(text, folder)
            text = _with_damping(text, now, number, float(change.value), note)  # type: ignore[arg-type]
        else:
            path: KeyPath = ("prop", number)
            if change.support is not None:
                path = (*path, "support", change.support)
            text = _changed(text, path, change, note)
    _verify(fitted, number, text, folder)
    return text


# -- one value ------------------------------------------------------------------------------------------


def _changed(text: str, table: KeyPath, change: Change, note: str) -> str:
    value = _typed(change)
    places = locate(text)
    if change.key == "root_stiffness" and (*table, "clamp") in places:
        return _replaced(text, places[*table, "clamp"], "clamp", value, note, renamed="root_stiffness")
    if (*table, change.key) in places:
        return _replaced(text, places[*table, change.key], change.key, value, note)
    return _added(text, places.get(table), table, f"{change.key} = {value}", note)


def _typed(change: Change) -> str:
    value = change.value
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(f'"{part * 1e3:.6g} mm"' for part in value) + "]"
    if change.key == "mass":
        return f'"{value * 1e3:.6g} g"'
    if change.key == "root_stiffness":
        return f'"{value:.6g} N*m/rad"'
    return f"{value:.6g}"


def _replaced(text: str, place: Place, key: str, value: str, note: str, *, renamed: str | None = None) -> str:
    """The text with one value changed where it stands, and what it was in a comment above."""
    assert place.typed is not None  # only values come here
    start = _line_start(text, place.line)
    found = re.compile(
        rf"(?P<key>[\"']?{re.escape(key)}[\"']?)(?P<equals>\s*=\s*){re.escape(place.typed)}"
    ).search(text, start)
    if found is None:
        raise OutputError(
            f"line {place.line} of the rig file could not be changed. Write {key} = {value} there."
        )
    old = found.group("key") + " = " + " ".join(place.typed.split())
    name = found.group("key") if renamed is None else renamed
    changed = text[: found.start()] + f"{name}{found.group('equals')}{value}" + text[found.end() :]
    indent = text[start : found.start()]
    if indent.strip():
        return changed  # in the middle of an inline table there is no room for a comment
    return f"{changed[:start]}{indent}# {note}; was {old}{_newline(text)}{changed[start:]}"


def _added(text: str, place: Place | None, table: KeyPath, line: str, note: str) -> str:
    """The text with one more line, the first under the header of its table."""
    words = ".".join(str(part) for part in table if isinstance(part, str))
    header = None
    if place is not None and place.typed is None:
        start = _line_start(text, place.line)
        header = re.compile(r"[ \t]*\[\[?[^\n]*").match(text, start)
    if header is None:
        raise OutputError(
            f"the rig file has no [[{words}]] of its own to add to. Write {line} there yourself."
        )
    following = re.compile(r"\r?\n([ \t]*)(?=[A-Za-z_\"'])").match(text, header.end())
    own = re.match(r"[ \t]*", header.group())
    indent = following.group(1) if following else own.group() if own else ""
    newline = _newline(text)
    return f"{text[: header.end()]}{newline}{indent}{line}  # {note}{text[header.end() :]}"


def _line_start(text: str, line: int) -> int:
    start = 0
    for _ in range(line - 1):
        start = text.index("\n", start) + 1
    return start


def _newline(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


# -- damping --------------------------------------------------------------------------------------------


def _with_damping(text: str, shot: Shot, number: int, ratio: float, note: str) -> str:
    """Damping belongs to a material: one of the file's own is changed, one from stock is copied under a new name."""
    supports = shot.prop[number].support
    name = supports[0].material
    own = [material.name for material in shot.material]
    change = Change(key="damping_ratio", value=ratio)
    if name in own and not _used_elsewhere(shot, number, name):
        return _changed(text, ("material", own.index(name)), change, note)
    copy = f"{name}-as-shot"
    while copy in own:
        copy += "-again"
    for index, support in enumerate(supports):
        if support.material == name:
            path: KeyPath = ("prop", number, "support", index)
            text = _changed(text, path, Change(key="material", support=index, value=copy), note)
    newline = _newline(text)
    end = "" if text.endswith("\n") else newline
    return f"{text}{end}{newline}{newline.join(_block(shot, supports[0], name, copy, ratio, note))}{newline}"


def _used_elsewhere(shot: Shot, number: int, name: str) -> bool:
    return any(
        support.material == name
        for index, prop in enumerate(shot.prop)
        if index != number
        for support in prop.support
    )


def _block(shot: Shot, support: Support, name: str, copy: str, ratio: float, note: str) -> list[str]:
    size = support.thickness if support.section == "strip" else support.diameter
    across = np.array([np.nan if size is None else size.m_as("m")])
    stock = stock_material(shot, name)
    constants = constants_of(stock, across)
    lines = [
        f"# {name} as it is at {size}, with the damping {note}.",
        "[[material]]",
        f'name = "{copy}"',
        f'density = "{float(constants.density[0]):.6g} kg/m^3"',
        f'youngs_modulus = "{float(constants.youngs_modulus[0]) / 1e9:.6g} GPa"',
        f'shear_modulus = "{float(constants.shear_modulus[0]) / 1e9:.6g} GPa"',
    ]
    strength = float(constants.strength[0])
    if np.isfinite(strength):
        key = "tensile_strength" if stock.working_strength_kind == "rupture" else "yield_strength"
        lines.append(f'{key} = "{strength / 1e6:.6g} MPa"')
    return [*lines, f"damping_ratio = {ratio:.6g}"]


# -- does it read as it should ----------------------------------------------------------------------------


def _verify(fitted: Fitted, number: int, text: str, folder: Path | None) -> None:
    shot = _read_again(text, folder)
    prop = shot.prop[number]
    for change in fitted.changes:
        support = prop.support[change.support or 0]
        read: object
        match change.key:
            case "root_stiffness":
                given = support.root_stiffness
                read = None if given is None or isinstance(given, str | tuple) else given.m_as("N*m/rad")
            case "mass":
                read = prop.mass.m_as("kg")
            case "centre_of_mass":
                read = tuple(part.m_as("m") for part in prop.centre_of_mass)
            case "damping_ratio":
                own = shot.own_material(support.material)
                read = None if own is None else own.damping_ratio
            case "diameter":
                read = None if support.diameter is None else str(support.diameter)
            case _:
                continue  # a material that is copied for its damping has another name
        if not _same(read, change.value):
            raise OutputError(
                f"the fitted values were not written: {change.key} would read as {read}, not {change.value}."
            )


def _read_again(text: str, folder: Path | None) -> Shot:
    try:
        return rig_from_text(text, source="the fitted rig file", folder=folder)
    except InputError as error:
        raise OutputError(f"the fitted values were not written: {error}") from None


def _same(read: object, wanted: float | str | tuple[float, ...]) -> bool:
    if isinstance(wanted, str) or read is None:
        return read == wanted
    return bool(np.allclose(np.asarray(read, dtype=float), np.asarray(wanted), rtol=_SAME, atol=1e-9))
