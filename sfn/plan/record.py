"""What every record of the document has in common: frozen, nothing unknown, nothing infinite."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError

Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Name = Annotated[str, StringConstraints(min_length=1, max_length=120)]
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
