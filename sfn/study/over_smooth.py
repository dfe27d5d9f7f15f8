"""What a smooth earth in the place of terrain does to levels of sites that stand high."""

from sfn.plan import Network

# Below it the smooth earth at sea level adds little to an antenna's height.
HIGH_GROUND_M = 100.0


def smooth_says(network: Network) -> str:
    """That antennas count from sea level where no terrain is named, in words; empty where it matters little.

    `sfn.field.path.smooth_surface_m` lays the smooth earth at sea level where the receiver's ground is not given. The
    DVB-T2 demo, 770 to 1190 m up, has 81 dBuV/m 93 km from its first site; with all ground lowered by 770 m it has 36.

    Parameters
    ----------
    network : Network
    """
    known = [site for site in network.sites if site.on_air]
    if network.terrain is not None or not known:
        return ""
    highest = max(known, key=lambda site: site.ground_m)
    if highest.ground_m < HIGH_GROUND_M:
        return ""
    counts_m = highest.ground_m + highest.antenna_m
    return (
        f"The smooth earth lies at sea level: the antenna of {highest.name} counts as {counts_m:.0f} m high, not "
        f"{highest.antenna_m:.0f} m. Where the country lies high, levels towards the horizon and beyond it come out "
        "far too strong, by tens of dB: only a terrain mends that"
    )
