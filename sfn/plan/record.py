"""What every record of the document has in common: frozen, nothing unknown, nothing infinite."""

import re
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError

Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Name = Annotated[str, StringConstraints(min_length=1, max_length=120)]
_READS_AS_WORDS, _PARTS = re.compile("""[,;:!?"“”]|[.] """), re.compile("""[,;:!?"“”]""")
_WORDS = re.compile(r"[^\W\d_]+")
# Words and units that sentences about a setting are made of.
_OURS = frozenset(
    "all and any are as at back both by each every from has is it known leave ms nobody none not nothing now ns of off"
    " on once only or other roll same set stands that the them then these this to unknown until us was with µs".split()
)


class Called(str):
    """What somebody named: an f-string puts it in quotation marks where a sentence would take it for words of its own.

    Tables, keys and documents have it as it was typed, and so has a column of fixed width.
    """

    __slots__ = ()

    def __format__(self, spec: str) -> str:
        """Into a sentence; with a width it is a cell of a table."""
        return f'"{self!s}"' if not spec and self.reads_as_words() else str.__format__(self, spec)

    def reads_as_words(self) -> bool:
        """Whether it begins with a small letter, bears no letter at all, or holds what ends or parts sentences."""
        first = next(filter(str.isalpha, self), "")
        return not first or first.islower() or bool(_READS_AS_WORDS.search(self))


class SiteName(Called):
    """A site's name.

    Examples
    --------
    >>> north, crane = SiteName("North ridge"), SiteName("at once")
    >>> f"mute {north}; mute {crane}", crane
    ('mute North ridge; mute "at once"', 'at once')
    """

    __slots__ = ()


class PersonName(Called):
    """Who did something, as they are called: initials keep their stops, and a call has "A, for B".

    Examples
    --------
    >>> f"reported by {PersonName('A. Oak')}, and by {PersonName('nobody')}"
    'reported by A. Oak, and by "nobody"'
    """

    __slots__ = ()

    def reads_as_words(self) -> bool:
        """As any name, but for the stop of an initial and for two people on a call."""
        return any(
            not (first := next(filter(str.isalpha, one), "")) or first.islower() or bool(_PARTS.search(one))
            for one in self.split(", for ")
        )


class FieldName(Called):
    """What a delay field is called: small letters are usual, so it is in marks where it bears a word of sentences.

    Examples
    --------
    >>> f"set {FieldName('exciter delay')} to 3 ms; set {FieldName('0 us')} to 3 ms, {FieldName('back to old')} to 1"
    'set exciter delay to 3 ms; set "0 us" to 3 ms, "back to old" to 1'
    """

    __slots__ = ()

    def reads_as_words(self) -> bool:
        """Whether it begins with no letter, parts sentences, or has a word or a unit of ours in it."""
        words = _WORDS.findall(self.lower())
        return not self[:1].isalpha() or bool(_READS_AS_WORDS.search(self)) or not _OURS.isdisjoint(words)


CalledSite = Annotated[Name, AfterValidator(SiteName)]
CalledField = Annotated[Name, AfterValidator(FieldName)]
Text = Annotated[str, StringConstraints(max_length=20_000)]
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$")]
# A minute is beyond any chain: the bound catches values typed in the wrong unit.
Latency = Annotated[float, Field(ge=0, le=60_000_000)]
Tolerance = Annotated[float, Field(ge=0, le=60_000_000)]


class Record(BaseModel):
    """Frozen, strict (a number typed as text is refused), and closed to unknown keys."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


def lacking(text: str, keys: list[str]) -> PydanticCustomError:
    """A refusal that says which keys would correct it, for forms that ask for them."""
    return PydanticCustomError("value_error", "{error}", {"error": text, "missing": " ".join(keys)})
