"""People who may be counted twice: districts listed beside their town."""

from collections.abc import Iterable

from sfn.errors import Problem
from sfn.plan import Network
from sfn.reception.listeners import inside_towns

MOST_NAMED_N = 12


def people_problems(network: Network) -> Iterable[Problem]:
    """A warning for each town of the document's list with places inside the disc that its own people fill."""
    places = () if network.listeners is None else network.listeners.places or ()
    for town, inside in inside_towns(places).items():
        one, parts = places[town], [places[k] for k in inside]
        people = sum(part.people for part in parts)
        names = ", ".join(part.name for part in parts[:MOST_NAMED_N])
        more = f" and {len(parts) - MOST_NAMED_N} more" if len(parts) > MOST_NAMED_N else ""
        lie, they = ("lies", "it is a district") if len(parts) == 1 else ("lie", "they are districts")
        yield Problem(
            "listeners.places",
            f"{names}{more} {lie} within {one.name} ({one.people:.0f} people), as its people are spread: if {they} "
            f"of it, {people:.0f} people are counted twice",
            "towns of their own, or out of the list",
            "warning",
            code="listeners-counted-twice",
            fields=tuple(part.name for part in parts),
            values={"town": one.name, "twice_people": people},
        )
