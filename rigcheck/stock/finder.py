"""Looking things up in the stock: words and sizes in, entries with plain facts out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from rigcheck.stock.entries import Entry, WantedSizes, entry_of, gauge_size_entry
from rigcheck.stock.gauges import gauge_numbers, gauge_search
from rigcheck.stock.rules import general_caution, source_text
from rigcheck.stock.tables import KINDS, files_of, locate, nearest, normalised, record, record_names

__all__ = ["SearchResult", "search"]

_KIND_WORDS = {
    "material": "material support",
    "sheet": "sheet board insert",
    "clamp": "clamp root",
    "prop": "prop density",
    "gauge": "gauge",
}
_FORM_WORDS = {
    "round": "wire rod",
    "tube": "tube pipe",
    "strip": "strip flat bar",
    "strand": "strand stranded twisted",
    "threaded": "threaded rod",
    "line": "line thread",
}
_STOP_WORDS = frozenset({"a", "an", "and", "for", "in", "inch", "mm", "of", "the", "x"})
# A bare number above this is part of a name (304, 6061), not a size in mm.
_LARGEST_SIZE_MM = 60.0

_TUBE = re.compile(
    r"(?<![\w./])(\d+(?:\.\d+)?) ?[x×] ?(\d+(?:\.\d+)?)(?: ?mm)?(?![\w./])", re.IGNORECASE | re.ASCII
)
_THREAD = re.compile(r"(?<![\w./])m(\d{1,2})(?![\w./])", re.IGNORECASE | re.ASCII)
_FRACTION = re.compile(r"(?<![\w./])(\d+)/(\d+)(?: ?in(?:ch)?| ?\")?(?![\w./])", re.IGNORECASE | re.ASCII)
_NUMBER = re.compile(r"(?<![\w./-])(\d+(?:\.\d+)?) ?(mm|in|inch|\")?(?![\w./-])", re.IGNORECASE | re.ASCII)


@dataclass(frozen=True, kw_only=True)
class SearchResult:
    """What a search found.

    Attributes
    ----------
    query : str
        As typed.
    entries : tuple of Entry
        Best first.
    notes : tuple of str
        What the reader should know about the search: a corrected word, a size nobody sells, which gauge.
    suggestions : tuple of str
        Nearest names where nothing was found.
    caution : str
        The caution that belongs to every value.
    sources : mapping of str to str
        Text of every source key in the entries.
    """

    query: str
    entries: tuple[Entry, ...]
    notes: tuple[str, ...]
    suggestions: tuple[str, ...]
    caution: str
    sources: Mapping[str, str]


@cache
def _haystack(kind: str, file: str, name: str) -> str:
    entry = record(file, name)
    words = [
        name,
        entry["label"],
        *entry.get("aliases", ()),
        file,
        _KIND_WORDS[kind],
        *entry.get("words", ()),
    ]
    words += [f"{form} {_FORM_WORDS[form]}" for form in entry.get("forms", ())]
    return " " + normalised(" ".join(words)).replace("-", " ") + " "


@cache
def _vocabulary() -> tuple[str, ...]:
    words: dict[str, None] = {}
    for kind in KINDS:
        for file in files_of(kind):
            for name in record_names(file):
                for word in re.findall(r"[a-z]{3,}", _haystack(kind, file, name)):
                    words[word] = None
    return tuple(words)


def _matches(token: str, haystack: str) -> bool:
    if len(token) < 3:
        return f" {token} " in haystack
    return token in haystack or (token.endswith("s") and token[:-1] in haystack)


def _sizes_in(text: str) -> tuple[WantedSizes, str]:
    """Take the sizes out of a query; return them and what is left."""
    tubes: list[tuple[float, float]] = []
    across: list[float] = []

    def tube(found: re.Match[str]) -> str:
        tubes.append((float(found[1]) * 1e-3, float(found[2]) * 1e-3))
        return " "

    def thread(found: re.Match[str]) -> str:
        across.append(float(found[1]) * 1e-3)
        return " threaded "

    def fraction(found: re.Match[str]) -> str:
        if int(found[2]) == 0:
            return found[0]
        across.append(int(found[1]) / int(found[2]) * 0.0254)
        return " "

    def number(found: re.Match[str]) -> str:
        unit = (found[2] or "").lower()
        value = float(found[1])
        if unit in {"in", "inch", '"'}:
            across.append(value * 0.0254)
        elif 0.0 < value <= _LARGEST_SIZE_MM:
            across.append(value * 1e-3)
        else:
            return found[0]
        return " "

    for pattern, take in ((_TUBE, tube), (_THREAD, thread), (_FRACTION, fraction), (_NUMBER, number)):
        text = pattern.sub(take, text)
    return WantedSizes(across=tuple(across), tubes=tuple(tubes)), text


def _find(tokens: Sequence[str]) -> list[tuple[str, str]]:
    """Return kind and name of everything that has all the words, best first."""
    whole = "-".join(tokens)
    scored: list[tuple[int, str, str]] = []
    for kind in KINDS:
        files = files_of(kind)
        exact = locate(whole, files) if tokens else None
        for file in files:
            for name in record_names(file):
                haystack = _haystack(kind, file, name)
                if not all(_matches(token, haystack) for token in tokens):
                    continue
                if exact == (file, name):
                    score = 0
                elif all(token in normalised(name).split("-") for token in tokens):
                    score = 1
                elif all(f" {token} " in haystack for token in tokens):
                    score = 2
                else:
                    score = 3
                scored.append((score, kind, name))
    scored.sort(key=lambda item: item[0])
    return [(kind, name) for _, kind, name in scored]


def _corrected(tokens: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return the words with misspelt ones replaced by the nearest known word, and what was replaced."""
    import difflib  # only when a search found nothing

    words: list[str] = []
    notes: list[str] = []
    for token in tokens:
        known = any(token in word for word in _vocabulary())
        close = [] if known else difflib.get_close_matches(token, _vocabulary(), n=1, cutoff=0.7)
        words.append(close[0] if close else token)
        if close:
            notes.append(f'Nothing is called "{token}": showing "{close[0]}".')
    return words, notes


def search(words: str | Sequence[str] = "") -> SearchResult:
    """Search materials, sheets, clamps, prop densities and gauges.

    Parameters
    ----------
    words : str or sequence of str
        Names, forms and sizes in any order: ``"brass"``, ``"carbon tube 6"``, ``"14 SWG"``, ``"M4"``. Nothing
        means everything. A bare number to 60 is a size in mm.

    Returns
    -------
    SearchResult
        Never an error: with nothing found it carries the nearest names.

    Examples
    --------
    >>> [entry.name for entry in search("music wire 2 mm").entries]
    ['music-wire']
    """
    query = words if isinstance(words, str) else " ".join(words)
    notes: list[str] = []
    entries: list[Entry] = []
    wanted, rest = WantedSizes(), query
    whole = [
        (kind, found[1])
        for kind in KINDS
        if query.strip() and (found := locate(query, files_of(kind))) is not None
    ]
    if not whole:
        gauge = gauge_search(query)
        if gauge is not None:
            rest = query.replace(gauge.typed, " ")
            entries += [gauge_size_entry(name, gauge.number, diameter) for name, diameter in gauge.meanings]
            if gauge.gauge is None:
                notes.append(
                    f'"{gauge.typed.strip()}" does not say which gauge: ask the shop, or measure and give mm.'
                )
            elif not gauge.meanings:
                numbers = gauge_numbers(gauge.gauge)
                notes.append(f"{gauge.gauge.upper()} runs from {numbers[0]} to {numbers[-1]}.")
            wanted = WantedSizes(across=tuple(diameter for _, diameter in gauge.meanings))
        else:
            wanted, rest = _sizes_in(query)
    tokens = [token for token in normalised(rest).split("-") if token and token not in _STOP_WORDS]
    hits = whole or (_find(tokens) if tokens or not query.strip() or wanted else [])
    if not hits and tokens:
        tokens, corrections = _corrected(tokens)
        if corrections:
            hits = _find(tokens)
            notes += corrections
    if whole and tokens:
        # The name itself first, then what else has those words.
        hits = list(dict.fromkeys([*whole, *_find(tokens)]))
    listed = [entry_of(kind, name, wanted) for kind, name in hits]
    if wanted:
        sized = [entry for entry in listed if entry.matching_sizes]
        if sized:
            listed = sized
        elif tokens and listed:
            notes.append("Nobody is known to sell that size; these are the nearest by name.")
        elif not tokens:
            listed = []
    entries += listed
    suggestions: tuple[str, ...] = ()
    if not entries:
        suggestions = tuple(
            dict.fromkeys(name for kind in KINDS for name in nearest(rest.strip() or query, files_of(kind)))
        )[:5]
    return SearchResult(
        query=query,
        entries=tuple(entries),
        notes=tuple(notes),
        suggestions=suggestions,
        caution=general_caution(),
        sources=_sources(entries),
    )


_SOURCE_KEY = re.compile(r"\bS\d+[a-z]?\b")


def _sources(entries: Sequence[Entry]) -> dict[str, str]:
    """Return the texts of every key that the values name, or that a condition or note mentions."""
    keys: set[str] = set()
    for entry in entries:
        texts = [entry.note]
        for fact in entry.facts:
            keys.update(fact.source)
            texts.append(fact.condition)
        for table in entry.tables:
            keys.update(table.source)
            texts.append(table.condition)
        for text in texts:
            keys.update(_SOURCE_KEY.findall(text))
    return {key: source_text(key) for key in sorted(keys, key=_source_order)}


def _source_order(key: str) -> tuple[str, int, str]:
    digits = re.search(r"\d+", key)
    return ("S" if digits else "~", int(digits[0]) if digits else 0, key)
