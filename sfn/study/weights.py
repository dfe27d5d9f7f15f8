"""Weights as a map draws them: outlines, lines and discs with their names and factors."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from sfn.plan import Network, Place
from sfn.reception.listeners import radius_m


def weight_shapes(network: Network, places: Sequence[Place]) -> list[dict[str, Any]]:
    """One entry a weight: `name`, `factor`, and `area` or `road` as [lat, lon] pairs, or `discs` as [lat, lon, m].

    Parameters
    ----------
    network : Network
    places : sequence of Place
        Those that people are spread from; names that are not among them give no disc.
    """
    made = []
    for weight in network.weights or ():
        shape: dict[str, Any] = {"name": weight.name, "factor": weight.factor}
        if weight.area is not None:
            shape["area"] = [list(corner) for corner in weight.area]
        elif weight.road is not None:
            shape["road"] = [list(point) for point in weight.road]
        else:
            named = [place for place in places if place.name == weight.place]
            shape["discs"] = [
                [p.lat, p.lon, weight.within_m or float(radius_m(np.array([p.people]))[0])] for p in named
            ]
        made.append(shape)
    return made
