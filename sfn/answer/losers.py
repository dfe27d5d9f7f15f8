"""As JSON: who gains and who loses by a plan: places by name with their margins."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from sfn.study.losers import AreaLost, PlaceChange


def losers_document(places: Sequence[PlaceChange], areas: Sequence[AreaLost]) -> dict[str, Any]:
    """Places that lose, places that gain, areas that lose."""
    return {
        "places_that_lose": [asdict(place) for place in places if place.loses],
        "places_that_gain": [asdict(place) for place in reversed(places) if not place.loses],
        "areas_that_lose": [asdict(area) for area in areas],
    }
