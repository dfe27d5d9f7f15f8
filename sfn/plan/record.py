"""What every record of the document has in common: frozen, nothing unknown, nothing infinite."""

import re
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError

Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Name = Annotated[str, StringConstraints(min_length=1, max_length=120)]
_READS_AS_WORDS = re.compile("""[,;:!?"“”]|[.] """)


class SiteName(str):
    """A site's name, which a sentence shows as a name: f-strings put it in quotation marks where it reads as words.

    That is where it begins with a small letter, bears no letter at all, or holds what ends or parts sentences. Tables,
    keys and documents have it as it was typed, and so has a column of fixed width.

    Examples
    --------
    >>> north, crane = SiteName("North ridge"), SiteName("at once")
    >>> f"mute {north}; mute {crane}", crane
    ('mute North ridge; mute "at once"', 'at once')
    """

    __slots__ = ()

    def __format__(self, spec: str) -> str:
        """Into a sentence; with a width it is a cell of a table."""
        first = next(filter(str.isalpha, self), "")
        words = not first or first.islower() or _READS_AS_WORDS.search(self)
        return f'"{self!s}"' if words and not spec else str.__format__(self, spec)


CalledSite = Annotated[Name, AfterValidator(SiteName)]
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
    """A refusal that says which keys would mend it, for forms that ask for them."""
    return PydanticCustomError("value_error", "{error}", {"error": text, "missing": " ".join(keys)})
