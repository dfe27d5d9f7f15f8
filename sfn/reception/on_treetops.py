"""What of a map's figures rests on treetops and roofs that count as bare ground."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.field.over_treetops import area_says
from sfn.geodesy.grid import Grid
from sfn.reception.classes import is_served
from sfn.reception.coverage import Coverage


@dataclass(frozen=True, slots=True)
class OnTreetops:
    """Area and people of a map where treetops count as bare ground; 0 where nothing does.

    Parameters
    ----------
    area_km2, judged_km2 : float
        What is concerned, of all that is judged. [km2]
    people : float or None
        Who lives there; None where they are not known.
    served_km2, served_people : float or None
        What of it counts as served; None where classes, or people, are not known.
    """

    area_km2: float
    judged_km2: float
    people: float | None = None
    served_km2: float | None = None
    served_people: float | None = None

    @property
    def says(self) -> str:
        """The same in words; empty where nothing is concerned."""
        return area_says(
            self.area_km2, self.judged_km2, people=self.people, served_km2=self.served_km2,
            served_people=self.served_people,
        )  # fmt: skip

    def as_json(self) -> dict[str, Any]:
        """Keys of answers; null where nothing is concerned."""
        nothing = not self.area_km2
        return {
            "treetops_say": self.says or None,
            "treetops_km2": self.area_km2,
            "treetops_people": None if nothing else self.people,
            "treetops_served_km2": None if nothing else self.served_km2,
            "treetops_served_people": None if nothing else self.served_people,
        }


def ground_says(computed: Coverage | None, people: NDArray[np.float64] | None = None) -> str:
    """What a page must say of the ground of its levels: made coarser, or of treetops; empty where nothing.

    Parameters
    ----------
    computed : Coverage or None
    people : ndarray, shape (M,), optional
        In each pixel.
    """
    if computed is None:
        return ""
    tops = on_treetops_of(computed, people=people).says
    return " ".join(filter(None, (computed.averaged_says, f"{tops}." if tops else "")))


def grid_on_treetops(grid: Grid, bare: NDArray[np.bool_], known: NDArray[np.bool_]) -> OnTreetops:
    """The same of a grid, by flags shaped (rows, columns): what is concerned, and what is known."""
    area_km2 = np.broadcast_to(np.asarray(grid.pixel_area_km2)[:, None], known.shape)
    return OnTreetops(float(area_km2[bare & known].sum()), float(area_km2[known].sum()))


def on_treetops_of(
    computed: Coverage, *, quality_class: NDArray[np.float32] | None = None, people: NDArray[np.float64] | None = None
) -> OnTreetops:
    """What of an area rests on treetops that count as bare ground.

    Parameters
    ----------
    computed : Coverage
    quality_class : ndarray, shape (M,), optional
        Place in `sfn.reception.classes.CLASSES`, NaN where nothing is known.
    people : ndarray, shape (M,), optional
        In each pixel.
    """
    area_km2 = np.where(computed.covered, computed.area_km2(), 0.0)
    bare = computed.on_treetops
    if bare is None or not (bare & computed.covered).any():
        return OnTreetops(0.0, float(area_km2.sum()))
    bare = bare & computed.covered
    served = None if quality_class is None else bare & is_served(quality_class)
    return OnTreetops(
        float(area_km2[bare].sum()),
        float(area_km2.sum()),
        None if people is None else float(people[bare].sum()),
        None if served is None else float(area_km2[served].sum()),
        None if served is None or people is None else float(people[served].sum()),
    )
