"""A new transmitter proposed into a document: like its neighbour, at the mast, in its best way, not transmitting."""

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from sfn.plan.proposal import name_for, site_like
from sfn.study.lever_try import ALL_ROUND, TABLES


def with_new_site(document: Mapping[str, Any], mast: Mapping[str, Any]) -> tuple[dict[str, Any], int]:
    """A document with a new site at its end, and which it is.

    Parameters
    ----------
    document : mapping
        As it was typed; it stays as it is.
    mast : mapping
        One of `masts` of `sfn.answer.placing_document`.

    Returns
    -------
    document : dict
        The site has chain and device of its neighbour, without what belongs to one place alone, which is asked for; it
        is not transmitting before somebody says so.
    index : int
        The new site's place in the list.
    """
    made = deepcopy(dict(document))
    sites = made["sites"]
    index = next((i for i, site in enumerate(sites) if site.get("id") == mast["like"]), 0)
    name = name_for(str(mast["site"]), [str(site.get("id")) for site in sites])
    site, stages = site_like(made, index, name=name)
    site |= {
        "name": mast["name"],
        "position": dict(mast["position"]),
        "ground_m": mast["ground_m"],
        "antenna_m": mast["antenna_m"],
        "erp_kw": dict(mast["erp_kw"]),
        "on_air": False,
        "offset_us": mast["offset_us"],
    }
    if mast["pattern"] != ALL_ROUND:
        whose: dict[str, Any] = next(one for one in sites if one.get("id") == mast["pattern"]).get("antenna") or {}
        tables = {key: deepcopy(whose[key]) for key in TABLES if whose.get(key) is not None}
        site["antenna"] = tables | {"azimuth_deg": mast["azimuth_deg"] or 0.0}
    made["stages"] += stages
    sites.append(site)
    return made, len(sites) - 1
