"""What a smooth earth in the place of terrain does to levels of sites that stand high."""

from sfn.plan import Network, Site

# Below it the plain adds little to an antenna's height.
HIGH_GROUND_M = 100.0


def smooth_says(network: Network) -> str:
    """Where the plain lies that stands in the place of terrain, in words; empty where a terrain is named.

    It lies as low as the lowest site (`sfn.plan.Network.plain_m`), so that masts on hills keep their hills. Where the
    country about a site lies as high as the site, its antenna counts as far too high: then that is said too, of the
    highest. In the DVB-T2 demo, 770 to 1190 m up, a level 93 km away was 45 dB too strong when the plain lay at sea
    level.

    Parameters
    ----------
    network : Network
    """
    if network.terrain is not None:
        return ""
    lowest, highest, counts_m = _between(network)
    lies = f"The smooth earth lies at {network.plain_m:.0f} m, the ground of {lowest.name}, the lowest site"
    if highest is None:
        return lies
    return (
        f"{lies}: the antenna of {highest.name} counts as {counts_m:.0f} m high, not {highest.antenna_m:.0f} m. Where "
        "the country lies as high as the site, levels far from it come out tens of dB too strong"
    )


def smooth_parts(network: Network) -> dict[str, str]:
    """The names and figures of `smooth_says`, for whoever says it in another language."""
    lowest, highest, counts_m = _between(network)
    said = {"plain_said": f"{network.plain_m:.0f}", "lowest_site": lowest.id}
    if highest is None:
        return said
    return {
        "highest_site": highest.id,
        "counts_said": f"{counts_m:.0f}",
        "stands_said": f"{highest.antenna_m:.0f}",
    } | said


def _between(network: Network) -> tuple[Site, Site | None, float]:
    """The lowest site; the highest on air, None where it stands low; and as how high its antenna counts. [m]"""
    lowest = min(network.sites, key=lambda site: site.ground_m)
    highest = max([site for site in network.sites if site.on_air] or network.sites, key=lambda site: site.ground_m)
    above_m = highest.ground_m - network.plain_m
    return lowest, None if above_m < HIGH_GROUND_M else highest, above_m + highest.antenna_m


def smooth_said(network: Network) -> str:
    """The same beside figures that leave the pages, with what is missing; empty where a terrain is named."""
    lies = smooth_says(network)
    return f"No terrain: levels are those over a smooth earth, without hills. {lies}" if lies else ""
