"""Stream plans written as text: each key of the record with what was typed, ``packet_ms=1&parity=both``.

Older documents keep a stage's plan so, and addresses of the link plan's page still do. It is read into the record of
`sfn.plan.stream_plan`; what a payload or a protection does not need is not looked at.
"""

from collections.abc import Mapping
from fractions import Fraction
from types import NoneType
from typing import Annotated, Any, Literal, get_args, get_origin
from urllib.parse import parse_qsl, urlencode

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import ratio_written
from sfn.plan.stream_plan import MOST_SUBCHANNELS_N, StreamPlan, exactly, quantity
from sfn.stream.fields import HEADER_KEYS, LINK_KEYS, LOSS_KEYS, OWN_PACKETS, PAYLOAD_KEYS, USUAL

_OPEN = ("composite_rate_khz", "transition_khz", "channels", "link_mbps", *LOSS_KEYS[1:])  # no usual value


def read_text(text: str, *, losses: bool = False) -> StreamPlan:
    """The record that a text describes, complete: every key that counts is given.

    Parameters
    ----------
    text : str
    losses : bool
        Read what is lost on the way too, where it says anything of it.

    Raises
    ------
    PlanError
        With every problem at its key.
    """
    given, problems = record_of(dict(parse_qsl(text)), losses=losses)
    if problems:
        raise PlanError(problems)
    return given


def kept_plan(held: str | StreamPlan) -> StreamPlan:
    """The plan that a stage keeps, as a record or in the old way as text.

    Raises
    ------
    PlanError
        As `read_text`.
    """
    return held if isinstance(held, StreamPlan) else read_text(held)


def kept_losses(held: str | StreamPlan) -> StreamPlan:
    """What a kept plan says of losses, without looking at the rest.

    Raises
    ------
    PlanError
        As `read_text`.
    """
    if isinstance(held, StreamPlan):
        return held
    given, problems = losses_of(dict(parse_qsl(held)))
    if problems:
        raise PlanError(problems)
    return given


def kept_second_path(held: str | StreamPlan) -> bool:
    """Whether a kept plan has a second path, without looking at the rest."""
    if isinstance(held, StreamPlan):
        return bool(held.second_path)
    return dict(parse_qsl(held)).get("second_path") == "yes"


def text_of(given: StreamPlan) -> str:
    """A record as text: what it gives, key by key."""
    return urlencode(typed_of(given))


def typed_of(given: StreamPlan) -> dict[str, str]:
    """A record as one would type it, key by key.

    Examples
    --------
    >>> typed_of(StreamPlan(packet_ms="1/3", second_path=True, network_ms=21))
    {'packet_ms': '1/3', 'second_path': 'yes', 'network_ms': '21'}
    """
    return {key: _typed(value) for key in StreamPlan.model_fields if (value := getattr(given, key)) is not None}


def record_of(typed: Mapping[str, str], *, losses: bool = False) -> tuple[StreamPlan, list[Problem]]:
    """The record that texts describe, without what cannot be read, and what is wrong with that.

    Parameters
    ----------
    typed : mapping of key to text
        An empty text counts as none; keys that are no stream plan's are left out.
    losses : bool
        Read what is lost on the way too, where anything is said of it.
    """
    reader = _Texts(typed)
    payload = reader.take("payload")
    reader.take_all(PAYLOAD_KEYS.get(str(payload), ()))
    reader.take_all(HEADER_KEYS)
    if typed.get("packet_ms", "").strip() or payload not in OWN_PACKETS:
        reader.take("packet_ms")
    parity = reader.take("parity")
    reader.take_all(("columns",) if parity in ("row", "column", "both") else ())
    reader.take_all(("rows",) if parity in ("column", "both") else ())
    reader.take_all(("parity_spread", "repeat_after", "second_path", *LINK_KEYS))
    if losses and any(typed.get(key, "").strip() for key in LOSS_KEYS):
        reader.take_all(LOSS_KEYS)
    return StreamPlan(**reader.found), reader.problems


def losses_of(typed: Mapping[str, str]) -> tuple[StreamPlan, list[Problem]]:
    """The same of what is lost on the way alone."""
    reader = _Texts(typed)
    reader.take_all(LOSS_KEYS)
    return StreamPlan(**reader.found), reader.problems


class _Texts:
    """Texts read one by one."""

    def __init__(self, typed: Mapping[str, str]) -> None:
        self._typed = typed
        self.found: dict[str, Any] = {}
        self.problems: list[Problem] = []

    def take_all(self, keys: tuple[str, ...]) -> None:
        """Several keys."""
        for key in keys:
            self.take(key)

    def take(self, key: str) -> Any:
        """What a key says, or the usual value; None where neither is, or it cannot be read."""
        text = self._typed.get(key, "").strip()
        if not text:
            value = None if key in _OPEN else getattr(USUAL, key)
        else:
            try:
                value = _read(key, text)
            except _RefusedError as refused:
                what, expected, code = refused.args
                self.problems.append(Problem(key, what, expected, code=code, fields=(key,)))
                return None
        if value is not None:
            self.found[key] = value
        return value


class _RefusedError(Exception):
    """What is wrong, what would be right, and the problem's code."""


def _read(key: str, text: str) -> Any:
    """One text as its key has it in the record."""
    kind = _kind(StreamPlan.model_fields[key].annotation)
    if get_origin(kind) is Literal:
        if text not in get_args(kind):
            raise _RefusedError(f"cannot be {text!r}", f"one of {', '.join(get_args(kind))}", "not-on-offer")
        return text
    if kind is bool:
        if text not in {"yes", "no", ""}:
            raise _RefusedError(f"cannot be {text!r}", "yes or no", "not-yes-or-no")
        return text == "yes"
    if key == "subchannels_kbps":
        return _several(text)
    number = _number(text)
    if kind is not int:
        return quantity(number)
    if number.denominator != 1:
        raise _RefusedError(f"cannot be {text!r}", "a whole number", "not-a-whole-number")
    return int(number)


def _number(text: str) -> Fraction:
    """An exact number: 2.5, 2,5 or 1/3."""
    try:
        return ratio_written(text)
    except ValueError as error:
        code = "divides-by-zero" if "divides by 0" in str(error) else "not-a-number"
        raise _RefusedError(str(error), "a number, such as 2.5 or 1/3", code) from None


def _several(text: str) -> tuple[float, ...]:
    """Numbers with commas or blanks between them."""
    pieces = text.replace(",", " ").split()
    if not 1 <= len(pieces) <= MOST_SUBCHANNELS_N:
        raise _RefusedError(f"holds {len(pieces)} numbers", f"1 to {MOST_SUBCHANNELS_N}", "out-of-range")
    return tuple(float(_number(piece)) for piece in pieces)


def _kind(annotation: Any) -> Any:
    """The type of a key without ``| None`` and bounds."""
    inside = [part for part in get_args(annotation) if part is not NoneType]
    if get_origin(annotation) is Annotated or (get_origin(annotation) is not Literal and len(inside) == 1):
        return _kind(inside[0])
    return annotation


def _typed(value: Any) -> str:
    """One value as one would type it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(_typed(one) for one in value)
    if isinstance(value, float) and exactly(value).denominator == 1 and abs(value) < 1e15:
        return str(int(value))
    return str(value)
