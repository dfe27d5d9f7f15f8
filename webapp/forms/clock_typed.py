"""Typed fields of clocks and standby routes into what the engine takes, every problem at its field."""

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from typing import Any, TypeVar

from sfn.errors import PlanError
from sfn.plan import Network
from sfn.study.clocks import AskedClocks, Clocks, clocks
from sfn.study.standby_routes import AskedStandby, StandbyRoute, standby_routes
from sfn.timing import DelayTable
from webapp.forms.reader import Reader, Typed
from webapp.forms.usual import USUAL, field_name

_CLOCK = "clock-"
A = TypeVar("A", AskedClocks, AskedStandby)
T = TypeVar("T")


def clocks_of(network: Network, typed: Typed) -> Clocks:
    """Time that each site and each pair stays within a limit, as typed: ``clock-SITE`` and the names of `AskedClocks`.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    kinds = {name.removeprefix(_CLOCK): kind for name, kind in typed.items() if name.startswith(_CLOCK)}
    return _asked(AskedClocks, typed, lambda asked: clocks(network, asked), leave=("kinds",), kinds=kinds)


def standby_of(table: DelayTable, typed: Typed) -> tuple[StandbyRoute, ...]:
    """Every route that a site may go over to, as typed: the names of `AskedStandby`.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    return _asked(AskedStandby, typed, lambda asked: standby_routes(table, asked))


def _asked(record: type[A], typed: Typed, make: Callable[[A], T], *, leave: Sequence[str] = (), **more: Any) -> T:
    """What `make` gives of a record whose fields are read by name; one that cannot be read keeps its default."""
    reader = Reader(typed, USUAL)
    held: dict[str, Any] = {}
    for field in fields(record):
        if field.name in leave:
            continue
        name = field_name(field.name)
        if isinstance(field.default, bool):
            held[field.name] = reader.yes(name)
            continue
        known = len(reader.problems)
        value = float(reader.number(name)) if reader.text(name) else None
        if len(reader.problems) == known:
            held[field.name] = value
    return reader.finish_with(lambda: _named(make, record(**held, **more)))


def _named(make: Callable[[A], T], asked: A) -> T:
    """What `make` gives; what it refuses stands at the form's fields."""
    try:
        return make(asked)
    except PlanError as error:
        raise PlanError(
            replace(problem, where=field_name(problem.where), fields=tuple(map(field_name, problem.fields)))
            for problem in error.problems
        ) from None
