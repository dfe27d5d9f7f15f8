"""What the small map of a site is asked: to show more or less ground, or to put the site where somebody clicked."""

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from sfn.report.position_map import clicked
from webapp.forms.typed import number

LEAST_KM, MOST_KM = 0.5, 2000.0
VERBS = ("look", "put")


def looked(document: dict[str, Any], index: int, form: Mapping[str, str]) -> tuple[dict[str, Any], float | None]:
    """The draft with the site where somebody clicked, and how much ground is to be shown round it. [km]

    ``look``, ``look KM`` or ``put RIGHT DOWN``: parts of the width and the height of the map whose frame is sent along.
    """
    verb, *numbers = form.get("do", "").split() or [""]
    read = [float(one) for one in map(number, numbers) if not isinstance(one, str)]
    if verb == "look":
        return document, _across(read[0]) if read else None
    if verb != "put" or len(read) != 2 or index >= len(document.get("sites") or ()):
        return document, None
    across = number(form.get("across_km", ""))
    try:
        text = clicked(form.get("frame", ""), *read)
    except ValueError:
        return document, None  # no place on a map of ours: what is typed stays
    made = deepcopy(document)
    made["sites"][index]["position"] = {"text": text, "crs": "EPSG:4326"}
    return made, None if isinstance(across, str) else _across(float(across))


def _across(km: float) -> float | None:
    return km if LEAST_KM <= km <= MOST_KM else None
