"""What the address of the overlap map says of its area, its layer and how its window stands."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends

from sfn.study.layers import LAYERS


@dataclass(frozen=True, slots=True)
class MapAddress:
    """What the page's address says, but for what is tried."""

    bounds: str = ""
    """South, west, north, east; empty for the usual area."""
    pixel_m: str = ""
    """Side of a pixel as it was typed; empty for the usual one."""
    streets: bool = False
    """Whether the user turned street tiles on."""
    layer: str = ""
    """The layer that is shown; `none`: no layer."""
    at: str = ""
    """The place that was clicked."""
    pair: str = ""
    """The pair whose wavefronts are drawn."""
    view: str = ""
    """Middle of the window, and its zoom."""
    panel: str = ""
    """What stands beside the map."""
    road: str = ""
    """The road whose profile stands beside it: the job that worked it out."""

    @property
    def stands(self) -> tuple[tuple[str, str], ...]:
        """How the window stands, which only the page's script reads."""
        return ("at", self.at), ("pair", self.pair), ("view", self.view), ("panel", self.panel), ("road", self.road)

    @property
    def query(self) -> list[tuple[str, str]]:
        """The address's own part of a query, what is usual left out."""
        layer = "" if self.layer == "quality_class" else self.layer
        own = (("bounds", self.bounds), ("pixel_m", self.pixel_m), ("streets", "true" if self.streets else ""))
        return [(name, value) for name, value in (*own, ("layer", layer), *self.stands) if value]


def asked_of(
    bounds: str = "", pixel_m: str = "", streets: bool = False, layer: str = "", at: str = "", pair: str = "",
    view: str = "", panel: str = "", road: str = "",
) -> MapAddress:  # fmt: skip
    """What the page's address says, but for what is tried."""
    layer = layer if layer in (*LAYERS, "none") else "quality_class"
    return MapAddress(bounds.strip(), pixel_m.strip(), streets, layer, at, pair, view, panel, road)


def asked_by(form: dict[str, str]) -> MapAddress:
    """The same out of a form."""
    area, shown = (form.get("bounds", ""), form.get("pixel_m", "")), (bool(form.get("streets")), form.get("layer", ""))
    return asked_of(*area, *shown, *(form.get(name, "") for name, _ in MapAddress().stands))


AskedDep = Annotated[MapAddress, Depends(asked_of)]
