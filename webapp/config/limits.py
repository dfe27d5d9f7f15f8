"""Bounds of all that comes from outside, kept before memory is taken; a refusal says what would be accepted.

Addresses and forms use the types here (`NetworkId`, `Latitude`, ...), so that a value out of bounds is refused before
any page function runs. The engine's own bounds (rows of a table, points of a licence, samples of terrain) stand where
the memory is taken.
"""

from dataclasses import dataclass
from typing import Annotated

from pydantic import BeforeValidator, Field

from sfn.errors import PlanError, Problem
from sfn.plan.json_parts import JsonMost
from sfn.plan.reading import MOST_PARTS
from sfn.units import grouped

MOST_ID = 2**31 - 1
"""What a database's integer holds; a greater one is no address of ours."""
LONGEST_NAME_N = 400
"""Characters of one part of an address: a site's id, a layer, a signed link."""
LONGEST_LINE_N = 50_000_000
"""Characters of one line of a whole store: a document."""
LONGEST_PERSON_N = 120
"""Characters of a person's name, or a label."""
LARGEST_NUMBER = 1e12
"""No time, length or power of a network is greater in its unit."""


def plainly(value: object) -> object:
    """Refuse the text of a whole number that is written otherwise than this program writes it: +1, 01, 1.0.

    One thing has one address; what stands before an address would otherwise have to know them all.
    """
    if isinstance(value, str) and not (value.isascii() and value.isdigit() and value == value.lstrip("0")):
        raise ValueError("is not written as a whole number is here: digits alone, from 1")
    return value


NetworkId = Annotated[int, BeforeValidator(plainly), Field(ge=1, le=MOST_ID)]
RevisionNumber = Annotated[int, BeforeValidator(plainly), Field(ge=1, le=MOST_ID)]
OverlayId = Annotated[int, BeforeValidator(plainly), Field(ge=1, le=MOST_ID)]
Latitude = Annotated[float, Field(ge=-90, le=90, allow_inf_nan=False, description="WGS 84. [degrees]")]
Longitude = Annotated[float, Field(ge=-180, le=180, allow_inf_nan=False, description="WGS 84. [degrees]")]
Number = Annotated[float, Field(gt=-LARGEST_NUMBER, lt=LARGEST_NUMBER, allow_inf_nan=False)]

FORM_PARTS = JsonMost(values=45_000, texts=65_000, lists=20_000, objects=100, keys=20_000, depth=10)
MOST_LEVELS_N = 50_000
"""Levels of a log in a JSON body: 83 minutes at ten a second; a longer one is sent as a file, read line by line."""
ROAD_PARTS = JsonMost(
    values=320_000, texts=320_000, lists=20_100, objects=MOST_LEVELS_N + 100, keys=210_000, depth=10, loose=90_000
)


@dataclass(frozen=True, slots=True)
class Limits:
    """What one request may ask for."""

    body_bytes: int = 8_000_000
    """An ordinary request: a form, or a document of 200 sites with 30 stages each, several times over."""
    json_form: JsonMost = FORM_PARTS
    """A JSON body that stands for a form, or names a few things."""
    json_document: JsonMost = MOST_PARTS
    """A JSON body that holds a network document."""
    json_road: JsonMost = ROAD_PARTS
    """A JSON body with a line of 20,000 points and a log of 50,000 levels."""
    upload_bytes: int = 4_500_000_000
    """A request to an address that takes files: an hour of 192 kHz stereo in 24 bits is 4.15e9, as is much terrain."""
    grid_points: int = 4_000_000
    """Receiving points of one map."""
    form_fields: int = 20_000
    """Fields of one form."""
    connections: int = 500
    """Connections at a time; further ones are closed at once."""
    head_s: float = 20.0
    """Seconds within which a connection says what it wants."""
    body_idle_s: float = 60.0
    """Seconds without a byte after which a body is given up: a telephone on a mountain is slow, not silent."""
    body_s: float = 120.0
    """Seconds of waiting within which a small body has arrived: one that drips holds a connection."""
    body_least_bps: float = 8000.0
    """Bits a second that a longer one arrives with on an average, from then on."""
    running_jobs: int = 2
    """Long computations at a time: one a core."""
    far_jobs: int = 8
    """Computations at a time that workers do, where there are workers: here they only wait."""
    waiting_jobs: int = 16
    """Long computations that may wait for their turn."""
    own_jobs: int = 6
    """Of one person who is known by name, waiting and running."""


def whole_number(text: str) -> int | None:
    """The id or revision that a form's text says; None where it says none that there can be."""
    sound = text.isascii() and text.isdigit() and len(text) <= len(str(MOST_ID)) and int(text) <= MOST_ID
    return int(text) if sound else None


def bounded(name: str, value: int, *, greatest: int, unit: str) -> int:
    """Return `value` when it is within its bound.

    Raises
    ------
    PlanError
        If it is not; says the number that would be accepted.
    """
    if value > greatest:
        problem = Problem(
            where=name,
            what=f"{grouped(value)} {unit} are more than one request may ask for",
            expected=f"at most {grouped(greatest)} {unit}",
            code="beyond-a-limit",
            fields=(name,),
            values={"asked": value, "most": greatest},
        )
        raise PlanError([problem])
    return value
