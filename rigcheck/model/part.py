"""The base of every part of a shot: frozen, strict about its keys, and telling all that is wrong at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, ClassVar, NamedTuple, Self

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator
from pydantic.functional_validators import ModelWrapValidatorHandler
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

from rigcheck.model.fields import FLAW, flaw, nearest_hint

__all__ = ["Flaw", "Part", "example_of", "raise_all"]

_SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "weight": ("mass",),
    "dia": ("diameter",),
    "od": ("diameter",),
    "radius": ("diameter",),
    "wall_thickness": ("wall",),
    "free_length": ("length",),
    "travel": ("slide",),
    "stroke": ("slide",),
    "rotate": ("roll",),
    "turn": ("roll",),
    "axis": ("about", "along"),
    "time": ("duration",),
    "fps": ("frame_rate",),
    "direction": ("along", "from"),
    "stiffness": ("root_stiffness",),
    "holder": ("clamp",),
}
"""Words people use for a key, against the key; only for the hint."""


class Flaw(NamedTuple):
    """Something wrong with a part that no single value shows.

    Attributes
    ----------
    place : str or tuple of str and int
        The key it is reported at, or the way there from the part.
    says : str
        What is wrong.
    hint : str or None
        What to do.
    """

    place: str | tuple[str | int, ...]
    says: str
    hint: str | None = None

    def details(self) -> InitErrorDetails:
        """Give it as pydantic carries it."""
        place = self.place if isinstance(self.place, tuple) else (self.place,)
        return InitErrorDetails(type=flaw(self.says, self.hint), loc=place, input=None)


def raise_all(title: str, found: Iterable[Flaw]) -> None:
    """Raise what was found, all of it, from a validator; do nothing where nothing was.

    Parameters
    ----------
    title : str
        What was looked at.
    found : iterable of Flaw
        Places are counted from the value the validator looks at.

    Raises
    ------
    pydantic.ValidationError
        There is at least one.
    """
    details = [one.details() for one in found]
    if details:
        raise ValidationError.from_exception_data(title, details)


def example_of(key: str) -> str | None:
    """Show how a key is written in the file, whatever part it belongs to.

    Parameters
    ----------
    key : str
        As the file writes it.

    Returns
    -------
    str or None
        For example ``mass = "310 g"``; None where no part has the key, or it has no example.
    """
    examples = (part.example(key) for part in _parts(Part))
    return next((example for example in examples if example is not None), None)


class Part(BaseModel):
    """A part of a shot.

    Notes
    -----
    pydantic stops before its own whole-model checks when a single value is wrong, so a file with two
    mistakes would take two rounds. Here the checks on which keys stand together (`flaws`) look at the keys
    as given, run always, and their findings join those of the single values.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    header: ClassVar[str] = ""
    """How the file opens this part."""

    @classmethod
    def complete(cls, given: Mapping[str, Any]) -> Mapping[str, Any]:
        """Fill in what follows from the keys given."""
        return given

    @classmethod
    def flaws(cls, _given: Mapping[str, Any]) -> Iterator[Flaw]:
        """Find what is wrong with the keys given, taken together."""
        yield from ()

    @model_validator(mode="wrap")
    @classmethod
    def _tell_all(cls, given: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        """Validate, and raise the errors of values and of keys together."""
        if isinstance(given, cls):
            return handler(given)
        if not isinstance(given, Mapping):
            one = "one bracket" if not cls.header.startswith("[[") else "two brackets"
            raise flaw(f"this is a table of its own: the header is {cls.header}, with {one}.")
        flaws = list(cls.flaws(given))
        wrong: list[InitErrorDetails] = []
        made: Self | None = None
        try:
            made = handler(cls.complete(given))
        except ValidationError as error:
            told = {("missing", (found.place,)) for found in flaws}
            wrong.extend(
                cls._in_plain_words(details)
                for details in error.errors(include_url=False)
                if (details["type"], details["loc"]) not in told
            )
        wrong.extend(found.details() for found in flaws)
        if made is None or wrong:
            raise ValidationError.from_exception_data(cls.__name__, wrong)
        return made

    @classmethod
    def _in_plain_words(cls, details: ErrorDetails) -> InitErrorDetails:
        """Turn one of pydantic's errors into ours; those of inner parts are ours already."""
        place, kind = details["loc"], details["type"]
        error: PydanticCustomError
        if kind == FLAW:
            error = flaw(details["ctx"]["says"], details["ctx"]["hint"])
        elif kind == "missing":
            error = flaw("is missing.", cls.add(str(place[-1])))
        elif kind == "extra_forbidden":
            key = str(place[-1])
            error = flaw(f"is not a key of {cls.header or 'the file'}.", cls._hint_for(key))
        else:
            error = flaw(f"{details['msg']}.")
        return InitErrorDetails(type=error, loc=place, input=details["input"])

    @classmethod
    def file_keys(cls) -> list[str]:
        """List the keys as the file writes them."""
        return [field.alias or name for name, field in cls.model_fields.items()]

    @classmethod
    def example(cls, key: str) -> str | None:
        """Show how a key of this part is written.

        Parameters
        ----------
        key : str
            As the file writes it.

        Returns
        -------
        str or None
            For example ``mass = "310 g"``; None where there is no example.
        """
        import json  # only for a hint

        for name, field in cls.model_fields.items():
            if key == (field.alias or name) and field.examples:
                return f"{key} = {json.dumps(field.examples[0], ensure_ascii=False)}"
        return None

    @classmethod
    def add(cls, key: str) -> str | None:
        """Give the hint for a key that is missing.

        Parameters
        ----------
        key : str
            As the file writes it.

        Returns
        -------
        str or None
            For example ``Add mass = "310 g".``; None where there is no example.
        """
        example = cls.example(key)
        return f"Add {example}." if example else None

    @classmethod
    def _hint_for(cls, key: str) -> str | None:
        """Suggest the key that was meant, or the table it belongs to."""
        known = cls.file_keys()
        for synonym in _SYNONYMS.get(key.lower(), ()):
            if synonym in known:
                return f'Did you mean "{synonym}"?'
        homes = [part.header or "the top of the file" for part in _parts(Part) if key in part.file_keys()]
        if homes:
            return f"It belongs to {' or '.join(homes)}."
        return nearest_hint(key, known)


def _parts(of: type[Part]) -> Iterator[type[Part]]:
    """Give every kind of part there is."""
    for part in of.__subclasses__():
        yield part
        yield from _parts(part)
