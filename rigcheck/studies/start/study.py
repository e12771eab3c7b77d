"""The questions of `rigcheck start` one after the other, their answers held against the rig file's own rules."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from rigcheck.files.checking import Trouble, check
from rigcheck.files.locate import KeyPath
from rigcheck.model import Analysis, Axis, Camera, DroopTest, Insert, Limits, Move, Part, Prop, Shot, Support
from rigcheck.model.fields import listing, nearest_hint
from rigcheck.studies.start.questions import AFTER_PROPS, OF_A_PROP, OF_THE_SHOT, Question

__all__ = ["LONGEST_ANSWER", "Asked", "Interview"]

LONGEST_ANSWER = 400
"""Most characters of an answer; more is no answer to any of the questions."""

_MOST_PROPS = 50
_LEAVE_OUT = ("none", "-")
_PARTS: Mapping[str, type[Part]] = {
    "shot": Shot,
    "limits": Limits,
    "camera": Camera,
    "prop": Prop,
    "droop_test": DroopTest,
    "insert": Insert,
    "support": Support,
    "axis": Axis,
    "slide": Move,
    "roll": Move,
    "moves": Move,
    "analysis": Analysis,
}
_INDENT = "  "


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A question as it is put: to which prop it belongs, and what an empty answer stands for.

    Attributes
    ----------
    question : Question
        What is asked.
    prop : int or None
        Position of the prop, from 0; None for questions of the shot.
    name : str
        Unlike that of any other question of this interview, for example ``prop 1 mass``.
    default : str or None
        What an empty answer stands for; None where there is no default.
    choices : tuple of (str, str)
        Values and plain words to choose from, in order; empty where any answer may be given.
    """

    question: Question
    prop: int | None
    name: str
    default: str | None
    choices: tuple[tuple[str, str], ...]


class Interview:
    """Asks for what a rig file needs, one thing after the other.

    Parameters
    ----------
    answers : mapping of str to str, optional
        Answers of an earlier sitting by the name of the question. Those that do not hold any more are asked again.
    folder : Path, optional
        Where the rig file will lie; the current folder where not given.

    Examples
    --------
    >>> talk = Interview()
    >>> asked = talk.next()
    >>> asked.name, asked.default
    ('title', 'My shot')
    >>> talk.answer("")
    ()
    >>> talk.next().name
    'hazard'
    >>> talk.answer("everybody")
    ('"everybody" is not one of clear, hands or overhead. Give one of them, or its number.',)
    """

    def __init__(self, answers: Mapping[str, str] | None = None, *, folder: Path | None = None) -> None:
        self._folder = folder or Path.cwd()
        self._answers: dict[str, str] = {}
        self._took_back: str | None = None
        kept = dict(answers or {})
        while (asked := self.next()) is not None and asked.name in kept:
            if self._take(asked, kept.pop(asked.name)):
                break
        self._kept = kept

    @property
    def answers(self) -> dict[str, str]:
        """Every answer so far, in the order of the questions, an empty one for what was left out."""
        return {**self._answers, **self._kept}

    @property
    def count(self) -> int:
        """How many questions are answered."""
        return len(self._answers)

    def next(self) -> Asked | None:
        """Give the question that comes next.

        Returns
        -------
        Asked or None
            None when all is answered.
        """
        return next((asked for asked in self._script() if asked.name not in self._answers), None)

    def answer(self, text: str) -> tuple[str, ...]:
        """Answer the question that comes next.

        Parameters
        ----------
        text : str
            As typed; empty takes the default, or leaves an optional one out.

        Returns
        -------
        tuple of str
            What is wrong with it and what is allowed; empty where it was taken.
        """
        asked = self.next()
        if asked is None:
            return ("All questions are answered.",)
        wrong = self._take(asked, text)
        if not wrong:
            self._kept.pop(asked.name, None)
            self._take_kept()
        return wrong

    def back(self) -> bool:
        """Take the last answer back, so that its question comes again with it as the default.

        Returns
        -------
        bool
            False where there is none.
        """
        if not self._answers:
            return False
        # What was answered after it in an earlier sitting is kept for when the talk comes there again.
        name, text = self._answers.popitem()
        self._took_back = name
        self._kept = {name: text, **self._kept}
        return True

    def data(self) -> dict[str, Any]:
        """Give the answers nested as the rig file holds them.

        Returns
        -------
        dict
            Ready for the reader of rig files; incomplete until the last question is answered.
        """
        return _nested(self._pairs(self._answers))

    def text(self) -> str:
        """Write the rig file.

        Returns
        -------
        str
            TOML with a comment beside each value; what was left out stands there as a comment with an example.
        """
        return _written(self._pairs(self._answers, left_out=True))

    def _script(self) -> Iterator[Asked]:
        """Give every question that is asked, as far as the answers decide."""
        yield from self._asked(OF_THE_SHOT, None)
        for prop in range(_MOST_PROPS):
            yield from self._asked(OF_A_PROP, prop)
            if self._answers.get(_name(prop, "another")) != "yes":
                break
        yield from self._asked(AFTER_PROPS, None)

    def _asked(self, questions: tuple[Question, ...], prop: int | None) -> Iterator[Asked]:
        for question in questions:
            so_far = self._of(prop)
            if not question.when(so_far):
                continue
            name = _name(prop, question.name)
            default = question.default(so_far) if callable(question.default) else question.default
            if self._took_back == name:
                default = self._kept.get(name) or default
            yield Asked(
                question=question,
                prop=prop,
                name=name,
                default=default,
                choices=tuple((value, words or _label(question, value)) for value, words in question.choices),
            )

    def _of(self, prop: int | None) -> dict[str, str]:
        """Give the answers of one prop, or of the shot, by the questions' own names."""
        start = _name(prop, "")
        found = {
            name.removeprefix(start): text
            for name, text in self._answers.items()
            if name.startswith(start) and (prop is not None or not name.startswith("prop "))
        }
        return found if prop is None else {"number": str(prop + 1), **found}

    def _take(self, asked: Asked, text: str) -> tuple[str, ...]:
        """Take an answer if it holds; tell what is wrong otherwise."""
        text = text.strip()
        if len(text) > LONGEST_ANSWER:
            return (
                f"The answer is too long: {len(text)} characters, {LONGEST_ANSWER} are allowed. Give it shorter.",
            )
        if asked.question.optional and text.lower() in _LEAVE_OUT:
            text = ""
        elif not text:
            if asked.default is None and not asked.question.optional:
                return ("This one needs an answer.",)
            text = asked.default or ""
        if text and asked.choices:
            text, wrong = _chosen(asked, text)
            if wrong:
                return (wrong,)
        before = self._answers
        found = self._troubles({**before, asked.name: text})
        known = {trouble.says for trouble in self._troubles(before)} if found else set()
        wrong_now = tuple(dict.fromkeys(_sentence(trouble) for trouble in found if trouble.says not in known))
        if not wrong_now:
            self._answers[asked.name] = text
            self._took_back = None
        return wrong_now

    def _take_kept(self) -> None:
        """Go on through what was answered before a step back."""
        while (asked := self.next()) is not None and asked.name in self._kept:
            if self._take(asked, self._kept[asked.name]):
                return
            del self._kept[asked.name]

    def _pairs(self, answers: Mapping[str, str], *, left_out: bool = False) -> list[_Pair]:
        """Give what goes into the file, in the order of the questions."""
        pairs: list[_Pair] = []
        for prop, questions in self._all_questions(answers):
            own = {question.name: answers.get(_name(prop, question.name)) for question in questions}
            both = own.get("moves") == "both"
            for question in questions:
                text = own[question.name]
                if not question.key or text is None or (not text and not left_out):
                    continue
                tables = ("slide", "roll") if question.table == "moves" else (question.table,)
                for table in tables:
                    if table in ("slide", "roll") and not own.get(table):
                        continue
                    pairs.append(
                        _Pair(
                            place=_place(table, prop, both=both),
                            part=_PARTS[table],
                            key=question.key,
                            value=_value(question, text) if text else None,
                        )
                    )
        return pairs

    @staticmethod
    def _all_questions(answers: Mapping[str, str]) -> Iterator[tuple[int | None, tuple[Question, ...]]]:
        yield None, OF_THE_SHOT
        yield None, AFTER_PROPS
        for prop in range(_MOST_PROPS):
            if any(name.startswith(_name(prop, "")) for name in answers):
                yield prop, OF_A_PROP

    def _troubles(self, answers: Mapping[str, str]) -> list[Trouble]:
        """Find what is wrong with values that are there; what is still missing is no trouble yet."""
        data = _nested(self._pairs(answers))
        return [trouble for trouble in check(data, self._folder)[1] if _is_there(trouble.path, data)]


@dataclass(frozen=True, kw_only=True)
class _Pair:
    """A key of the file with its value; None for one that was left out."""

    place: KeyPath
    part: type[Part]
    key: str
    value: Any


def _name(prop: int | None, name: str) -> str:
    return name if prop is None else f"prop {prop + 1} {name}"


def _place(table: str, prop: int | None, *, both: bool) -> KeyPath:
    """Give the way to a table of the rig file."""
    if prop is None:
        return () if table == "shot" else (table,)
    home: KeyPath = ("prop", prop)
    if table == "prop":
        return home
    if table == "support":
        return (*home, "support", 0)
    if table in ("slide", "roll"):
        return (*home, "move", 1 if both and table == "roll" else 0)
    return (*home, table)


@cache
def _label(question: Question, value: str) -> str:
    """The plain words of a name from stock."""
    if question.kind != "name":
        return ""
    return str(_finder(question)(value).label)


def _finder(question: Question) -> Any:
    from rigcheck import stock

    if question.table == "insert":
        return stock.find_sheet
    return stock.find_clamp if question.key == "clamp" else stock.find_material


def _chosen(asked: Asked, text: str) -> tuple[str, str]:
    """Give the value that a number, a word or a name stands for, or what is wrong with it."""
    values = [value for value, _ in asked.choices]
    if text.isascii() and text.isdigit() and len(text) < 4:
        if 1 <= int(text) <= len(values):
            return values[int(text) - 1], ""
        return text, f"There is no number {int(text)} here: 1 to {len(values)} are."
    word = text.lower()
    if word in values:
        return word, ""
    short = [value for value in values if value[0] == word] if asked.question.kind == "yes-no" else []
    if short:
        return short[0], ""
    if asked.question.kind == "name":
        return text, ""  # the rig file's own check knows the stock and what comes nearest
    hint = nearest_hint(word, values)
    return (
        text,
        f'"{_plain(text)}" is not one of {listing(values)}. {hint or "Give one of them, or its number."}',
    )


def _value(question: Question, text: str) -> Any:
    """Turn an answer into what the rig file holds."""
    if question.kind == "list":
        return _entries(text)
    if question.kind == "count":
        return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else text
    return text


def _entries(text: str) -> list[str]:
    """Split a list; a unit that stands only at the end holds for all of it."""
    parts = [part.strip() for part in re.split(r"[,;×]|(?<=[\d\s])x(?=[\d\s.])", text.strip(" []"))]
    unit = re.search(r"[A-Za-zµμ\"'][^\d]*$", parts[-1])
    if unit is not None and not any(re.search(r"[^\d\s./+-]", part) for part in parts[:-1]):
        parts = [f"{part} {unit[0].strip()}" for part in parts[:-1]] + [parts[-1]]
    return parts


def _is_there(path: KeyPath, data: Any) -> bool:
    """Tell whether the data has a value at that place."""
    for step in path:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return False
    several_tables = isinstance(data, list) and any(isinstance(entry, dict) for entry in data)
    return bool(path) and not isinstance(data, dict) and not several_tables


def _nested(pairs: list[_Pair]) -> dict[str, Any]:
    """Nest the pairs as the rig file does."""
    data: dict[str, Any] = {}
    for pair in pairs:
        _table_at(data, pair.place)[pair.key] = pair.value
    return data


def _table_at(data: dict[str, Any], place: KeyPath) -> dict[str, Any]:
    """Find the table at a place, made where it is not there yet."""
    here: Any = data
    for step, following in zip(place, (*place[1:], None), strict=False):
        if isinstance(step, int):
            while len(here) <= step:
                here.append({})
            here = here[step]
        else:
            here = here.setdefault(step, [] if isinstance(following, int) else {})
    table: dict[str, Any] = here
    return table


def _sentence(trouble: Trouble) -> str:
    """Say a trouble to whoever typed the answer."""
    says = trouble.says[0].upper() + trouble.says[1:]
    if says.split()[0].lower() in ("has", "is", "must", "needs", "are", "cannot", "belongs"):
        says = f"The answer {trouble.says}"
    return f"{says} {trouble.hint}" if trouble.hint else says


def _plain(text: str) -> str:
    return text if text.isprintable() else text.encode("unicode_escape").decode("ascii")


def _written(pairs: list[_Pair]) -> str:
    """Write the pairs as a commented TOML file, tables in the order that TOML and readers like."""
    lines = [
        "# Written by rigcheck start. Change it with any text editor; every size is a number with its unit, in",
        '# quotes, and may have a range: "3 mm +/- 0.05 mm". A line that begins with # is not read.',
        "# Check it with: rigcheck check THIS-FILE",
        f"format = {Shot.model_fields['format'].default}",
    ]
    tables: dict[KeyPath, list[_Pair]] = {}
    for pair in sorted(pairs, key=lambda pair: _order(pair.place)):
        tables.setdefault(pair.place, []).append(pair)
    for place, rows in tables.items():
        if place:
            indent = _INDENT if len(place) > 2 else ""
            lines += ["", f"{indent}{rows[0].part.header}"]
        else:
            indent = ""
        for row in rows:
            lines.append(indent + _line(row))
    return "\n".join(lines) + "\n"


_ORDER = ("camera", "limits", "prop", "insert", "droop_test", "support", "axis", "move")


def _order(place: KeyPath) -> tuple[tuple[int, int], ...]:
    """Sort tables as `_ORDER` says, those of one prop together."""
    return tuple(
        (_ORDER.index(str(step)), number if isinstance(number, int) else 0)
        for step, number in zip(place, (*place[1:], 0), strict=False)
        if isinstance(step, str)
    )


def _line(pair: _Pair) -> str:
    """Write one key with its comment; one that was left out as a comment with an example."""
    name = next(name for name, field in pair.part.model_fields.items() if pair.key in (name, field.alias))
    comment = pair.part.model_fields[name].description or ""
    if pair.value is None:
        return f"# {pair.part.example(pair.key) or pair.key}  # {comment}"
    return f"{pair.key} = {json.dumps(pair.value, ensure_ascii=False)}  # {comment}"
