"""What a site radiates, as plain data: all that a field strength depends on, and nothing else.

A `Transmitter` knows no chain, no delay and not whether it is on air, so that a change of delay changes no
raster, and it pickles, so that a raster can be computed in another process.
"""

from dataclasses import dataclass
from typing import Literal

from sfn.antenna import Pattern, pattern
from sfn.errors import in_range
from sfn.plan import Network, Site
from sfn.units import DBW_TO_DBK_DB, erp_dbw

Plane = Literal["h", "v"]

LEAST_FREQUENCY_MHZ = 30.0
GREATEST_FREQUENCY_MHZ = 6000.0
GREATEST_ANTENNA_M = 3000.0


@dataclass(frozen=True, slots=True)
class Transmitter:
    """One site's transmitter, ready for a propagation model.

    Parameters
    ----------
    id : str
        The site's id in its network.
    lat_deg, lon_deg : float
        Position on WGS84. [degrees]
    ground_m : float
        Ground height above sea level. [m]
    antenna_m : float
        Height of the antenna's centre above that ground. [m]
    erp_h_kw, erp_v_kw : float
        Effective radiated power in the direction of maximum, in each plane of polarisation. [kW]
    frequency_mhz : float
        30 to 6000. [MHz]
    delta_n : float
        Lapse of radio refractivity through the lowest kilometre, of the network. [N-units]
    surface_refractivity_n0 : float
        Sea-level surface refractivity, of the network. [N-units]
    plain_m : float
        Where a smooth earth lies in the place of terrain, above sea level. [m] 0 where the network names a terrain, so
        that rasters over it do not hang on the lowest site.
    pattern : Pattern, optional
        What the antenna takes off the e.r.p. away from its direction of maximum. None: nothing.

    Raises
    ------
    ValueError
        If a value is outside what ITU-R P.1812 covers, by the name of the field.

    Notes
    -----
    DN 45 and N0 325 (the network document's defaults) are mid-latitude values; the ITU's maps of them
    are not ours to hand on.
    """

    id: str
    lat_deg: float
    lon_deg: float
    ground_m: float
    antenna_m: float
    erp_h_kw: float
    erp_v_kw: float
    frequency_mhz: float
    delta_n: float
    surface_refractivity_n0: float
    plain_m: float = 0.0
    pattern: Pattern | None = None

    def __post_init__(self) -> None:
        in_range("lat_deg", self.lat_deg, least=-90.0, greatest=90.0, unit="degrees")
        in_range("lon_deg", self.lon_deg, least=-180.0, greatest=180.0, unit="degrees")
        in_range("ground_m", self.ground_m, least=-500.0, greatest=9000.0, unit="m")
        in_range("plain_m", self.plain_m, least=-500.0, greatest=9000.0, unit="m")
        in_range("antenna_m", self.antenna_m, least=1.0, greatest=GREATEST_ANTENNA_M, unit="m")
        in_range("erp_h_kw", self.erp_h_kw, least=0.0, greatest=1e5, unit="kW")
        in_range("erp_v_kw", self.erp_v_kw, least=0.0, greatest=1e5, unit="kW")
        in_range(
            "frequency_mhz",
            self.frequency_mhz,
            least=LEAST_FREQUENCY_MHZ,
            greatest=GREATEST_FREQUENCY_MHZ,
            unit="MHz",
        )
        in_range("delta_n", self.delta_n, least=10.0, greatest=150.0, unit="N-units per km")
        in_range("surface_refractivity_n0", self.surface_refractivity_n0, least=200.0, greatest=500.0, unit="N-units")

    def received_plane(self, receiver_polarisation: Plane | None) -> Plane:
        """The plane whose level is meant: the receiver's, or where it is not stated the stronger of the two."""
        if receiver_polarisation is not None:
            return receiver_polarisation
        return "v" if self.erp_v_kw > self.erp_h_kw else "h"

    def erp_dbk(self, receiver_polarisation: Plane | None) -> float:
        """E.r.p. over one kilowatt in the received plane, -inf when nothing is radiated in it. [dB]"""
        plane = self.received_plane(receiver_polarisation)
        return erp_dbw(self.erp_v_kw if plane == "v" else self.erp_h_kw) - DBW_TO_DBK_DB


def transmitter(site: Site, network: Network, *, lat_deg: float, lon_deg: float) -> Transmitter:
    """The transmitter of a site of a network; `lat_deg`, `lon_deg` is its position worked out on WGS84.

    Raises
    ------
    ValueError
        If a value of the document is outside what the propagation model covers.
    """
    return Transmitter(
        id=site.id,
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        ground_m=site.ground_m,
        antenna_m=site.antenna_m,
        erp_h_kw=site.erp_kw.h,
        erp_v_kw=site.erp_kw.v,
        frequency_mhz=network.frequency_mhz,
        delta_n=network.delta_n,
        surface_refractivity_n0=network.surface_refractivity_n0,
        plain_m=network.plain_m if network.terrain is None else 0.0,
        pattern=None
        if site.antenna is None
        else pattern(site.antenna, lat_deg=lat_deg, lon_deg=lon_deg, ground_m=site.ground_m),
    )
