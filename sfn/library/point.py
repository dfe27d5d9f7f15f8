"""What arrives at a place, as ``python -m sfn point`` gives it."""

from dataclasses import dataclass
from typing import Any

from sfn.answer.point import document
from sfn.geodesy.position import on_globe
from sfn.library.frames import frame
from sfn.library.opened import Opened
from sfn.plan.left_out import left_out_says
from sfn.reception.point import PointQuality, point_quality, with_verdict
from sfn.reception.quality import yardstick
from sfn.reception.signals import PointSignals
from sfn.study.point import tried_signals
from sfn.study.what_if import Tried, WhatIf


@dataclass(frozen=True, slots=True)
class PointAnswer:
    """Signals at a place, strongest first, and what a receiver makes of them."""

    found: PointSignals
    quality: PointQuality | None
    """None where nothing arrives that counts."""
    tried: Tried
    credits_say: str = ""
    """Whose data its ground is; empty where nothing says."""

    @property
    def document(self) -> dict[str, Any]:
        """What ``point --json`` prints."""
        said = {"tried": list(self.tried.says), "problems": [one.as_json() for one in self.tried.doubts]}
        return document(self.found, self.quality) | said | {"credits": self.credits_say}

    @property
    def says(self) -> tuple[str, ...]:
        """What is tried, and what the figures rest on and leave out, in words."""
        found = self.found
        lists = (
            ("the terrain does not cover the path, not listed", found.uncovered),
            ("over 500 km away, not listed", found.too_far),
            ("over a small gap in the terrain that was filled from its rim", found.over_gaps),
        )
        said = [f"tried: {one}" for one in self.tried.says]
        said += [f"beware: {one.what}; {one.expected}" for one in self.tried.doubts]
        said += ["no terrain: smooth earth", found.smooth_says] if found.smooth else []
        said += [f"{what}: {', '.join(names)}" for what, names in lists if names]
        said += [] if self.quality is None else [self.quality.without_says, self.quality.others_says]
        said += [
            found.treetops_say,
            found.corrected,
            f"roof antenna ({found.roof}) points at the strongest" if found.roof else "",
        ]
        return tuple(one for one in (*said, left_out_says(found.left_out), self.credits_say) if one)

    def to_frame(self) -> Any:
        """A `pandas.DataFrame`, a row a signal, columns as the keys of ``signals`` in ``point --json``.

        Raises
        ------
        ModuleNotFoundError
            If pandas is not installed.
        """
        return frame(self.document["signals"], says=self.says, problems=())


def point(
    plan: Opened,
    lat_deg: float,
    lon_deg: float,
    *,
    rx_height_m: float | None = None,
    rx_ground_m: float | None = None,
    as_set: bool = False,
    tries: WhatIf | None = None,
) -> PointAnswer:
    """Signals at a place with the computed settings in force.

    Parameters
    ----------
    plan : Opened
    lat_deg, lon_deg : float
        On WGS84. [degrees]
    rx_height_m, rx_ground_m : float, optional
        Receiving antenna above ground (the network's receiver), ground above sea level (the terrain). [m]
    as_set : bool
        Launches with what is set now instead.
    tries : WhatIf, optional
        Offsets, clocks, routes, sites not transmitting to try.

    Raises
    ------
    PlanError
        If place, network or what is tried cannot be used.

    Examples
    --------
    >>> from sfn.library.opened import load_demo
    >>> point(load_demo("fm_ridge"), 36.30, -84.20).document["signals"][0]["site"]
    'summit'
    """
    network = plan.readable
    lat, lon = on_globe(lat_deg, lon_deg, where="point")
    found, tried = tried_signals(
        network,
        WhatIf() if tries is None else tries,
        lat_deg=lat,
        lon_deg=lon,
        rx_height_m=rx_height_m,
        rx_ground_m=rx_ground_m,
        as_set=as_set,
        ground=plan.ground,
    )
    quality = point_quality(tried.network, found, yardstick(tried.network))
    return PointAnswer(with_verdict(found, quality), quality, tried, plan.credits_say)
