"""A try of power, direction, pattern and tilts taken up: written into the document as it was typed."""

import copy
from collections.abc import Mapping
from typing import Any

from sfn.plan import Antenna, Network
from sfn.study.lever_try import ALL_ROUND, TABLES, Lever, levered, moves

ANGLES = ("azimuth_deg", "electrical_tilt_deg", "mechanical_tilt_deg")


def with_levers(document: Mapping[str, Any], network: Network, levers: Mapping[str, Lever]) -> dict[str, Any]:
    """A document with levers as its plan.

    Parameters
    ----------
    document : mapping
        As it was typed; it stays as it is.
    network : Network
        The same, read.
    levers : mapping of site id to Lever
        Of the network's sites, `sfn.study.lever_move.grounded` where one is moved.

    Returns
    -------
    document : dict
        Only what a lever changes is written otherwise: what is radiated is that of the try, to twelve digits.
    """
    made = copy.deepcopy(dict(document))
    sites = {site.id: site for site in network.sites}
    names = {site.id: site.name for site in network.sites}
    for typed in made["sites"]:
        site, lever = sites.get(typed["id"]), levers.get(typed["id"])
        if site is None or not lever:
            continue
        now = levered(site, lever, network)
        if now.erp_kw != site.erp_kw:
            typed["erp_kw"] = now.erp_kw.model_dump(exclude_defaults=True)
        if now.antenna_m != site.antenna_m:
            typed["antenna_m"] = now.antenna_m
        if moves(lever, site):
            typed["position"] = now.position.model_dump(exclude_defaults=True)
            typed["ground_m"] = now.ground_m
        if now.antenna == site.antenna or now.antenna is None:
            continue
        antenna = typed.get("antenna") or {}
        before, after = site.antenna or Antenna(), now.antenna.model_dump(mode="json", exclude_none=True)
        for key in (*ANGLES, *TABLES):
            if getattr(before, key) == getattr(now.antenna, key):
                continue
            antenna.pop(key, None)
            if key in after:
                antenna[key] = after[key]
        if lever.pattern:
            antenna["note"] = "alike all round" if lever.pattern == ALL_ROUND else f"pattern of {names[lever.pattern]}"
        typed["antenna"] = antenna
    return made
