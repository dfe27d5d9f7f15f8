"""What the address of the overlap map says of its area, its layer and how its window stands."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends

from sfn.study.zones import LAYERS


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

    @property
    def stands(self) -> tuple[tuple[str, str], ...]:
        """How the window stands, which only the page's script reads."""
        return ("at", self.at), ("pair", self.pair), ("view", self.view), ("panel", self.panel)


def asked_of(
    bounds: str = "", pixel_m: str = "", streets: bool = False, layer: str = "", at: str = "", pair: str = "",
    view: str = "", panel: str = "",
) -> MapAddress:  # fmt: skip
    """What the page's address says, but for what is tried."""
    layer = layer if layer in (*LAYERS, "none") else "quality_class"
    return MapAddress(bounds.strip(), pixel_m.strip(), streets, layer, at, pair, view, panel)


def asked_by(form: dict[str, str]) -> MapAddress:
    """The same out of a form."""
    area, shown = (form.get("bounds", ""), form.get("pixel_m", "")), (bool(form.get("streets")), form.get("layer", ""))
    return asked_of(*area, *shown, *(form.get(name, "") for name, _ in MapAddress().stands))


AskedDep = Annotated[MapAddress, Depends(asked_of)]
