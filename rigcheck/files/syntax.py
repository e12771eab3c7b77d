"""What is wrong with a text that is not TOML, in words for people who do not know what TOML is."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import Any

from rigcheck.errors import Problem
from rigcheck.model.part import example_of
from rigcheck.units import shown

__all__ = ["Parsed", "parse_toml"]

_MOST_REPAIRS = 20
_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_PAIR = re.compile(r"""^\s*(?P<key>[A-Za-z0-9_.-]+|"[^"]*"|'[^']*')\s*(?P<sign>[=:])\s*(?P<value>.*?)\s*$""")
_CURLY = str.maketrans({"“": '"', "”": '"', "„": '"', "‘": "'", "’": "'"})
_NUMBER = r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Parsed:
    """What could be read of a text.

    Attributes
    ----------
    data : dict or None
        The content; None where it cannot be read even after the usual repairs.
    text : str
        The text that was read: the one given, or the repaired one, line for line.
    problems : tuple of Problem
        What is wrong with the syntax.
    repaired : frozenset of int
        Lines that were repaired, so that nothing more is said about them.
    """

    data: dict[str, Any] | None
    text: str
    problems: tuple[Problem, ...] = ()
    repaired: frozenset[int] = frozenset()


def parse_toml(text: str) -> Parsed:
    """Read a TOML text; where it is wrong, say what is wrong and read on with a guess of what was meant.

    Parameters
    ----------
    text : str
        The whole text.

    Returns
    -------
    Parsed
        The content, or the problems, or both. The guess serves only to find further problems: with any
        problem the content must not be used.
    """
    problems: list[Problem] = []
    repaired: set[int] = set()
    for _ in range(_MOST_REPAIRS):
        try:
            data = tomllib.loads(text)
        except RecursionError:
            problems.append(_whole("the lists or tables are nested too deep to be read."))
        except tomllib.TOMLDecodeError as error:
            line, column, message = _place_of(error, text)
            problem, repair = _explain(text, line, column, message)
            if line not in repaired:
                problems.append(problem)
                if repair is not None:
                    repaired.add(line)
                    lines = text.split("\n")
                    lines[line - 1] = repair
                    text = "\n".join(lines)
                    continue
        except ValueError:
            # Python refuses to read integers of thousands of digits.
            problems.append(_whole("a number in it has too many digits to be read."))
        else:
            return Parsed(data=data, text=text, problems=tuple(problems), repaired=frozenset(repaired))
        break
    return Parsed(data=None, text=text, problems=tuple(problems), repaired=frozenset(repaired))


def _whole(says: str) -> Problem:
    return Problem(where="the file", says=says)


def _place_of(error: tomllib.TOMLDecodeError, text: str) -> tuple[int, int, str]:
    """Take line, column and message out of the reader's error."""
    found = _PLACE.search(str(error))
    message = _PLACE.sub("", str(error))
    if found is not None and found[1]:
        return int(found[1]), int(found[2]), message
    lines = text.rstrip().split("\n")
    return len(lines), len(lines[-1]) + 1, message


def _explain(text: str, line: int, column: int, message: str) -> tuple[Problem, str | None]:
    """Say what is wrong at a place, and what that line may have meant; None where there is no telling."""
    lines = text.split("\n")
    if message.startswith("Unclosed"):
        # The reader stops where something else begins; the list or table began at a key above.
        line, column = _beginning(lines, line, column)
    typed = lines[line - 1]
    pair = _PAIR.match(typed)
    if message.startswith(("Cannot", "Duplicate")):
        says, hint, repair = _twice(lines, line, message, is_pair=pair is not None)
    elif pair is not None:
        says, hint, repair = _wrong_pair(pair, message)
    elif typed.strip().startswith("["):
        header = _header_meant(typed)
        says, hint, repair = "this header is not closed as it was opened.", f"Write {header}.", header
    else:
        says = f"this is no comment, no [header] and no key with its value ({_small(message)})."
        hint, repair = 'Write comments after #, and values like length = "180 mm".', None
    problem = Problem(
        where=pair["key"] if pair else "text",
        line=line,
        given=shown(pair["value"] if pair else typed.strip(), 60) or None,
        says=f"column {column}: {says}",
        hint=hint,
    )
    return problem, repair


def _beginning(lines: list[str], line: int, column: int) -> tuple[int, int]:
    """Find the key above whose list or inline table is open; the place itself where there is none."""
    for above in range(line, 0, -1):
        pair = _PAIR.match(lines[above - 1])
        if pair is not None and pair["value"][:1] in ("[", "{"):
            return above, pair.start("value") + 1
    return line, column


def _twice(lines: list[str], line: int, message: str, *, is_pair: bool) -> tuple[str, str, str | None]:
    """Say that a key or a table was given before."""
    typed = lines[line - 1]
    if is_pair:
        return "this key is given twice in the same table.", "Keep one of the two.", f"# {typed}"
    name = typed.split("#")[0].strip().strip("[] \t")
    other = f"[{name}]" if typed.lstrip().startswith("[[") else f"[[{name}]]"
    if any(above.split("#")[0].strip() == other for above in lines[: line - 1]):
        return f"{other} stands above with other brackets.", f"Write {_header_meant(typed)} both times.", None
    if "twice" in message:
        return f"the table [{name}] is opened twice.", "Put all its keys under one header.", None
    return f"{name} has a value already, or was opened in another way.", "Give it in one way only.", None


def _small(message: str) -> str:
    """Let the reader's own message go on inside a sentence."""
    return message[:1].lower() + message[1:]


def _header_meant(typed: str) -> str:
    name = typed.split("#")[0].strip().strip("[] \t")
    several = (
        typed.lstrip().startswith("[[")
        or name in ("prop", "material")
        or name.endswith((".support", ".move", ".sleeve"))
    )
    return f"[[{name}]]" if several else f"[{name}]"


def _wrong_pair(pair: re.Match[str], message: str) -> tuple[str, str, str | None]:
    """Say what is wrong with the value of a key."""
    key, value = pair["key"], pair["value"]
    bare = re.sub(r"\s+#.*$", "", value)
    straight = bare.translate(_CURLY)
    if straight != bare:
        return "curly quotes are not read.", f"Write {key} = {straight}.", f"{key} = {straight}"
    if pair["sign"] == ":":
        meant = bare if bare[:1] in "\"'[{" else f'"{bare}"'
        return (
            "a key and its value are joined by =, not by a colon.",
            f"Write {key} = {meant}.",
            f"{key} = {meant}",
        )
    if not bare:
        return "the value is missing.", f"Write it after the =, for example {_example(key)}.", f'{key} = ""'
    if re.search(r"[;,]\s*[A-Za-z_]+\s*=", bare):
        return "there is more than one key on this line.", "Give each key a line of its own.", None
    quotes = bare.count('"')
    if bare[0] not in "\"'[{":
        return _unquoted(key, bare.strip('"'))
    if quotes % 2:
        meant = f'"{bare.strip(chr(34))}"'
        fix = meant if bare[0] == '"' else None
        hint = f"Write {key} = {meant}." if fix else "Put each text between two of them."
        return "a quotation mark is missing.", hint, f"{key} = {fix}" if fix else None
    if message.startswith("Unclosed") and bare[0] == "{":
        return "the braces are not closed on this line.", f"Write {key} = {{ ..., ... }} on one line.", None
    if message.startswith("Unclosed") and bare.count("[") != bare.count("]"):
        return "the list is not closed.", f"Write {key} = [..., ...] with as many ] as [.", None
    if bare[0] == "[" and re.search(r"[\[,]\s*[+-]?[0-9.]+\s*[A-Za-z]", bare):
        return "a quantity in the list has no quotes.", f'Write each like "{_example_of(bare)}".', None
    if "\\" in bare:
        return (
            "a backslash in quotes has a meaning of its own.",
            "Write / between folders.",
            f"{key} = {bare.replace(chr(92), '/')}",
        )
    return (
        f"the value cannot be read ({_small(message)}).",
        f"Write it like {_example(key)}.",
        None,
    )


def _example_of(bare: str) -> str:
    found = re.search(r"[+-]?[0-9.]+\s*[A-Za-z][A-Za-z/*^0-9]*", bare)
    return found[0] if found else "180 mm"


def _example(key: str) -> str:
    return example_of(key) or f'{key} = "180 mm"'


def _unquoted(key: str, bare: str) -> tuple[str, str, str | None]:
    """Say what is wrong with a value that stands without quotes."""
    if bare.lower() in ("true", "false", "yes", "no"):
        meant = "true" if bare.lower() in ("true", "yes") else "false"
        return "true and false are written in small letters.", f"Write {key} = {meant}.", f"{key} = {meant}"
    number = re.match(_NUMBER, bare)
    pointed = bare
    if number is not None:
        pointed = number[0].replace(",", ".") + bare[number.end() :]
    if number is not None and number.end() == len(bare):
        if "," in bare:
            # Whether a unit belongs to it, the key tells later; quoted it is read either way.
            return (
                "decimals are written with a point.",
                f"Write {key} = {pointed}.",
                f"{key} = {_plain(pointed)}",
            )
        return (
            "a number needs a digit on both sides of its point, and no zeros before it.",
            f"Write {key} = {_plain(pointed)}.",
            f"{key} = {_plain(pointed)}",
        )
    what = "a number with a unit" if number is not None else "a text"
    comma = "decimals are written with a point, and " if pointed != bare else ""
    meant = '"' + pointed.replace("\\", "/").replace('"', "") + '"'
    return f"{comma}{what} stands in quotes.", f"Write {key} = {meant}.", f"{key} = {meant}"


def _plain(number: str) -> str:
    """Write a number as TOML takes it."""
    return repr(float(number))
