"""What counts more or less, typed on the Offsets page: factors changed, weights taken out, one put in."""

import copy
from collections.abc import Mapping
from typing import Any

from sfn.errors import PlanError, Problem, at_most
from webapp.forms.typed import number

KINDS = ("place", "area", "road")
NEW = ("kind", "name", "place", "points", "factor", "within_m", "people_per_km")
EMPTY = dict.fromkeys(NEW, "") | {"kind": "place"}


def weights_typed(document: Mapping[str, Any], form: Mapping[str, str]) -> tuple[dict[str, Any], str]:
    """The document with its weights as a form has them, and in words what was changed.

    Parameters
    ----------
    document : mapping
    form : mapping
        ``factor-0`` and ``drop-0`` for the weights that are there; for a new one the fields of `NEW`: points are
        lines of latitude and longitude.

    Raises
    ------
    PlanError
        If the points cannot be read. Everything else is for the engine to judge.
    """
    made, said = copy.deepcopy(dict(document)), []
    kept = []
    for i, weight in enumerate(made.get("weights") or ()):
        if form.get(f"drop-{i}"):
            said.append(f"{weight.get('name')} taken out")
            continue
        typed = form.get(f"factor-{i}", "").strip()
        if typed and number(typed) != weight.get("factor", 1):
            weight["factor"] = number(typed)
            said.append(f"{weight.get('name')} counts {typed} times")
        kept.append(weight)
    if form.get("name", "").strip():
        kept.append(_new(form))
        said.append(f"{form['name'].strip()} put in")
    made.pop("weights", None)
    if kept:
        made["weights"] = kept
    return made, "; ".join(said)


def _new(form: Mapping[str, str]) -> dict[str, Any]:
    """The weight that is put in."""
    kind = form.get("kind", "")
    made: dict[str, Any] = {"name": form["name"].strip()}
    if form.get("factor", "").strip():
        made["factor"] = number(form["factor"].strip())
    if kind in ("area", "road"):
        made[kind] = points_typed(form.get("points", ""))
    elif kind == "place":
        made["place"] = form.get("place", "").strip()
    if kind in ("place", "road") and form.get("within_m", "").strip():
        made["within_m"] = number(form["within_m"].strip())
    if kind == "road" and form.get("people_per_km", "").strip():
        made["people_per_km"] = number(form["people_per_km"].strip())
    return made


def points_typed(text: str, *, field: str = "points") -> list[list[float | int | str]]:
    """Lines of latitude and longitude.

    Raises
    ------
    PlanError
        Naming the line.
    """
    made, problems = [], []
    for n, line in enumerate((line.strip() for line in text.splitlines()), start=1):
        if not line:
            continue
        pieces = [number(piece) for piece in line.replace(",", " ").split()]
        if len(pieces) != 2 or any(isinstance(piece, str) for piece in pieces):
            problems.append(
                Problem(
                    field,
                    f"line {n}: {line[:60]!r} is no place",
                    "36.2100, -84.3000",
                    code="point-unreadable",
                    fields=(field,),
                    values={"line": n},
                )
            )
        made.append(pieces)
    if problems:
        raise PlanError(at_most(problems, source=field, most_n=10))
    return made
