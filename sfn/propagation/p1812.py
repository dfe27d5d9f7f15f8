"""One path by ITU-R P.1812, whole, with every intermediate by its name in the Recommendation.

Short and obvious rather than fast; `sweep` is the fast form, and shares no formula's code with this one.
Equation numbers are those of P.1812 (editions 6 to 8 agree for outdoor reception), symbols the Recommendation's.

| symbol | argument | unit |
|---|---|---|
| di | `distance_km` | km |
| hi | `ground_m` | m above sea level |
| Ri | `cover_m`, representative height of what covers the ground | m |
| f | `frequency_mhz` | MHz (GHz inside) |
| htg, hrg | `tx_height_m`, `rx_height_m` | m above ground |
| p, pL | `time_pct`, `location_pct` | % |
| phi | `latitude_deg`, at the path's centre | deg |
| DN, N0 | `delta_n`, `surface_refractivity_n0` | N-units/km, N-units |
| dct, dcr | `tx_coast_km`, `rx_coast_km` | km |
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import in_range
from sfn.propagation.anomalous import ducting_terms, scatter_loss
from sfn.propagation.bullington import Diffraction, delta_bullington_loss
from sfn.propagation.free_space import field_strength, slant_loss
from sfn.propagation.horizons import (
    SEA,
    ZONES,
    Horizons,
    SmoothSurface,
    anomalous_time,
    horizons,
    roughness,
    smooth_surface,
    zone_lengths,
)
from sfn.propagation.location import inverse_normal, location_loss
from sfn.propagation.smooth_earth import (
    BETA0_RADIUS_KM,
    FREE_SPACE_KM,
    LEAST_DISTANCE_KM,
    Polarisation,
    check_polarisation,
    effective_radius,
)

Array = NDArray[np.float64]
# Fewer points than this describe no terrain: free space.
LEAST_POINTS = 5
# dct, dcr where the path has no sea: far from every coast.
NO_COAST_KM = 500.0


@dataclass(frozen=True, slots=True)
class PathLoss:
    """What one path does to a signal.

    Parameters
    ----------
    loss_db : float
        Basic transmission loss Lb not exceeded for the percentages of time and places. [dB]
    field_dbuvm : float
        Field strength of 1 kW e.r.p. behind that loss. [dB(uV/m)]
    line_of_sight : bool
        Whether the bare terrain leaves the antennas in sight of each other under the median Earth radius.
    tx_elevation_deg, rx_elevation_deg : float
        Elevation of the ray, or of the horizon where there is no line of sight, as each antenna sees it. [deg]
    intermediates : dict
        Every quantity by its P.1812 name: lengths in km, heights in m, angles in mrad, losses in dB.
    """

    loss_db: float
    field_dbuvm: float
    line_of_sight: bool
    tx_elevation_deg: float
    rx_elevation_deg: float
    intermediates: dict[str, float]


@dataclass(frozen=True, slots=True)
class _Path:
    """The checked arguments, by the Recommendation's names; g is h with cover between the two ends."""

    d: Array
    h: Array
    g: Array
    zone: NDArray[np.int8]
    frequency_mhz: float
    htg: float
    hrg: float
    pol: Polarisation
    p: float
    DN: float
    N0: float
    obstacle: tuple[float, float] | None

    @property
    def hts(self) -> float:
        """Transmitting antenna above sea level."""
        return float(self.h[0]) + self.htg

    @property
    def hrs(self) -> float:
        """Receiving antenna above sea level."""
        return float(self.h[-1]) + self.hrg


def path_loss(
    distance_km: ArrayLike,
    ground_m: ArrayLike,
    *,
    cover_m: ArrayLike | None = None,
    obstacle: tuple[float, float] | None = None,
    zone: str | Sequence[str] = "inland",
    frequency_mhz: float,
    tx_height_m: float,
    rx_height_m: float,
    polarisation: Polarisation,
    time_pct: float,
    latitude_deg: float,
    delta_n: float = 45.0,
    surface_refractivity_n0: float = 325.0,
    location_pct: float = 50.0,
    location_sigma_db: float = 0.0,
    tx_coast_km: float | None = None,
    rx_coast_km: float | None = None,
) -> PathLoss:
    """Basic transmission loss and field strength of one path, ITU-R P.1812.

    Parameters
    ----------
    distance_km, ground_m : array_like, shape (n,)
        Profile from transmitter (0 km) to receiver, any spacing. [km], [m above sea level]
    cover_m : array_like, shape (n,), optional
        Height of what covers the ground; not counted at the two ends. [m]  None: bare ground.
    obstacle : tuple of float, optional
        What stands before the receiver between two points of the profile: its distance from the transmitter and its
        top above sea level. [km], [m]  One more point of the profile of eq. (13) to (20), but not of the bare ground.
    zone : str or sequence of n str
        ``inland``, ``coast`` (within 50 km of the sea and low) or ``sea``, of all points or of each.
    frequency_mhz : float
        30 to 6000. [MHz]
    tx_height_m, rx_height_m : float
        Antennas above ground, 1 to 3000. [m]
    polarisation : {'H', 'V'}
        Polarisation.
    time_pct : float
        Percentage of time p for which the loss is not exceeded, 1 to 50. [%]
    latitude_deg : float
        Latitude of the path's centre. [deg]
    delta_n, surface_refractivity_n0 : float, default 45 and 325
        DN and N0 at the path's centre: the network's, since the ITU's maps may not be passed on.
    location_pct, location_sigma_db : float, default 50 and 0
        Percentage of places, 1 to 99, and standard deviation over them: `location.location_sigma`, or 5.5 dB for
        broadcasting at roof height. Of no effect where the receiver is at sea.
    tx_coast_km, rx_coast_km : float, optional
        Land between each antenna and the coast along the path. [km]  None: measured from `zone`.

    Returns
    -------
    PathLoss

    Raises
    ------
    ValueError
        If a quantity is outside its range, with its name, or the arrays do not describe a profile.

    Notes
    -----
    Shorter than 0.25 km, or with fewer than 5 points, P.1812 does not apply: free space, eq. (8). So that no step
    stands at 0.25 km, what the model has beyond free space comes in evenly from 0.125 km (`near`) on: our own.

    References
    ----------
    .. [1] ITU-R P.1812, Annex 1, sections 3 and 4 and Attachment 1.

    Examples
    --------
    >>> d = np.arange(0.0, 50.05, 0.1)
    >>> path = path_loss(d, 0.0 * d, frequency_mhz=600.0, tx_height_m=150.0, rx_height_m=10.0, polarisation="H",
    ...     time_pct=50.0, latitude_deg=50.225)
    >>> print(f"{path.loss_db:.4f} {path.intermediates['Ldsph50']:.4f}")
    132.8139 10.8714
    """
    in_range("frequency_mhz", frequency_mhz, least=30.0, greatest=6000.0, unit="MHz")
    in_range("tx_height_m", tx_height_m, least=1.0, greatest=3000.0, unit="m")
    in_range("rx_height_m", rx_height_m, least=1.0, greatest=3000.0, unit="m")
    in_range("time_pct", time_pct, least=1.0, greatest=50.0, unit="%")
    in_range("latitude_deg", latitude_deg, least=-90.0, greatest=90.0, unit="deg")
    in_range("surface_refractivity_n0", surface_refractivity_n0, least=200.0, greatest=500.0, unit="N-units")
    check_polarisation(polarisation)
    d, h, g, zones = _profile(distance_km, ground_m, cover_m, zone)
    path = _Path(
        d, h, g, zones, frequency_mhz, tx_height_m, rx_height_m, polarisation, time_pct, delta_n,
        surface_refractivity_n0, _obstacle(obstacle, d),
    )  # fmt: skip
    Lloc = location_loss(location_pct=location_pct, sigma_db=location_sigma_db)
    dct, dcr = _coast("tx_coast_km", tx_coast_km, path), _coast("rx_coast_km", rx_coast_km, path)
    ae = effective_radius(delta_n)
    if d[-1] < FREE_SPACE_KM or len(d) < LEAST_POINTS:
        return _free_space(path, ae)
    whole = _whole(path, ae=ae, dct=dct, dcr=dcr, Lloc=0.0 if zones[-1] == SEA else Lloc, phi=latitude_deg)
    return whole if d[-1] >= LEAST_DISTANCE_KM else _between(_free_space(path, ae), whole, path)


def _whole(path: _Path, *, ae: float, dct: float, dcr: float, Lloc: float, phi: float) -> PathLoss:
    """The steps of section 4 in their order."""
    D = float(path.d[-1])
    dtm, dlm, omega = zone_lengths(path.d, path.zone)
    beta0 = anomalous_time(latitude_deg=phi, dtm=dtm, dlm=dlm)
    view = horizons(path.d, path.h, hts=path.hts, hrs=path.hrs, ae=ae, frequency_mhz=path.frequency_mhz)
    surface = smooth_surface(path.d, path.h, hts=path.hts, hrs=path.hrs)
    hte, hre, hm = roughness(path.d, path.h, surface, view, tx_height_m=path.htg, rx_height_m=path.hrg)
    sight = _line_of_sight(path, view, beta0)
    median, rare = (_diffraction(path, surface, radius_km=r, omega=omega) for r in (ae, BETA0_RADIUS_KM))
    ducting = ducting_terms(
        d=D, dlt=view.dlt, dlr=view.dlr, dct=dct, dcr=dcr, dlm=dlm, hts=path.hts, hrs=path.hrs, hte=hte, hre=hre,
        hm=hm, theta_t=view.theta_t, theta_r=view.theta_r, omega=omega, ae=ae, beta0=beta0,
        frequency_mhz=path.frequency_mhz, time_pct=path.p,
    )  # fmt: skip
    Lbs = scatter_loss(d=D, theta=view.theta, frequency_mhz=path.frequency_mhz, time_pct=path.p, N0=path.N0)
    together = _combination(
        path, view, sight, Ld50=median.Ld, Ldb=rare.Ld, Lba=ducting["Lba"], Lbs=Lbs, Lloc=Lloc, beta0=beta0, omega=omega
    )
    geometry = {
        "d": D, "hts": path.hts, "hrs": path.hrs, "omega": omega, "dtm": dtm, "dlm": dlm, "dct": dct, "dcr": dcr,
        "phi": phi, "beta0": beta0, "DN": path.DN, "N0": path.N0, "ae": ae, "abeta": BETA0_RADIUS_KM,
        "theta_t": view.theta_t, "theta_r": view.theta_r, "theta": view.theta, "dlt": view.dlt, "dlr": view.dlr,
        "hst": surface.hst, "hsr": surface.hsr, "hstd": surface.hstd, "hsrd": surface.hsrd, "hte": hte, "hre": hre,
        "hm": hm,
    }  # fmt: skip
    parts = {
        "Lbulla50": median.Lbulla, "Lbulls50": median.Lbulls, "Ldsph50": median.Ldsph, "Ld50": median.Ld,
        "Lbullab": rare.Lbulla, "Lbullsb": rare.Lbulls, "Ldsphb": rare.Ldsph, "Ldb": rare.Ld,
    }  # fmt: skip
    return _answer(path, view.theta_t, view.theta_r, view.los, geometry | sight | parts | ducting | together)


def _line_of_sight(path: _Path, view: Horizons, beta0: float) -> dict[str, float]:
    """Free space with focusing and multipath at p and beta0 % of time, eq. (8) to (11)."""
    Lbfs = float(slant_loss(path.d[-1], frequency_mhz=path.frequency_mhz, height_difference_m=path.hts - path.hrs))
    fading = 2.6 * (1.0 - math.exp(-0.1 * (view.dlt + view.dlr)))
    Esp, Esb = fading * math.log10(path.p / 50.0), fading * math.log10(beta0 / 50.0)  # (9)
    return {"Lbfs": Lbfs, "Esp": Esp, "Esb": Esb, "Lb0p": Lbfs + Esp, "Lb0b": Lbfs + Esb}


def _diffraction(path: _Path, surface: SmoothSurface, *, radius_km: float, omega: float) -> Diffraction:
    """Delta-Bullington loss for one Earth radius, over ground with its cover."""
    return delta_bullington_loss(
        path.d, path.g, tx_m=path.hts, rx_m=path.hrs, smooth_tx_m=surface.hstd, smooth_rx_m=surface.hsrd,
        radius_km=radius_km, frequency_mhz=path.frequency_mhz, polarisation=path.pol, sea_ratio=omega,
        obstacle=path.obstacle,
    )  # fmt: skip


def _combination(
    path: _Path, view: Horizons, sight: dict[str, float], *, Ld50: float, Ldb: float, Lba: float, Lbs: float,
    Lloc: float, beta0: float, omega: float,
) -> dict[str, float]:  # fmt: skip
    """Interpolation over time and blending of the mechanisms, eq. (40) to (43), (57) to (69)."""
    p, D, Lb0p = path.p, float(path.d[-1]), sight["Lb0p"]
    Fi = inverse_normal(p / 100.0) / inverse_normal(beta0 / 100.0) if p > beta0 else 1.0  # (40)
    Ldp = Ld50 if p == 50.0 else Ld50 + Fi * (Ldb - Ld50)  # (41)
    Lbd50, Lbd = sight["Lbfs"] + Ld50, Lb0p + Ldp  # (42), (43)
    Fj = 1.0 - 0.5 * (1.0 + math.tanh(3.0 * 0.8 * (view.theta - 0.3) / 0.3))  # (57)
    Fk = 1.0 - 0.5 * (1.0 + math.tanh(3.0 * 0.5 * (D - 20.0) / 20.0))  # (58)
    sub_path = (1.0 - omega) * Ldp
    Lminb0p = Lbd50 + (sight["Lb0b"] + sub_path - Lbd50) * Fi if p >= beta0 else Lb0p + sub_path  # (59)
    Lminbap = 2.5 * math.log(math.exp(Lba / 2.5) + math.exp(Lb0p / 2.5))  # (60)
    Lbda = Lminbap + (Lbd - Lminbap) * Fk if Lminbap <= Lbd else Lbd  # (61)
    Lbam = Lbda + (Lminb0p - Lbda) * Fj  # (62)
    Lbc = -5.0 * math.log10(10.0 ** (-0.2 * Lbs) + 10.0 ** (-0.2 * Lbam))  # (63)
    Lb = max(Lb0p, Lbc + Lloc)  # (69)
    return {
        "Fi": Fi, "Fj": Fj, "Fk": Fk, "Ldp": Ldp, "Lbd50": Lbd50, "Lbd": Lbd, "Lminb0p": Lminb0p, "Lminbap": Lminbap,
        "Lbda": Lbda, "Lbam": Lbam, "Lbs": Lbs, "Lbc": Lbc, "Lloc": Lloc, "Lb": Lb,
    }  # fmt: skip


def _free_space(path: _Path, ae: float) -> PathLoss:
    """Too near for P.1812: free space along the straight line."""
    D, rise = float(path.d[-1]), path.hrs - path.hts
    Lbfs = float(slant_loss(D, frequency_mhz=path.frequency_mhz, height_difference_m=rise))
    theta_t = 1000.0 * math.atan2(rise - 500.0 * D * D / ae, 1000.0 * D)
    theta_r = 1000.0 * math.atan2(-rise - 500.0 * D * D / ae, 1000.0 * D)
    named = {"d": D, "hts": path.hts, "hrs": path.hrs, "ae": ae, "theta_t": theta_t, "theta_r": theta_r}
    return _answer(path, theta_t, theta_r, True, named | {"Lbfs": Lbfs, "Lb": Lbfs})


def _between(near: PathLoss, whole: PathLoss, path: _Path) -> PathLoss:
    """Free space going over to the model."""
    share = (float(path.d[-1]) - FREE_SPACE_KM) / (LEAST_DISTANCE_KM - FREE_SPACE_KM)
    Lb, theta_t, theta_r = (
        a + share * (b - a)
        for a, b in (
            (near.loss_db, whole.loss_db),
            (near.tx_elevation_deg, whole.tx_elevation_deg),
            (near.rx_elevation_deg, whole.rx_elevation_deg),
        )
    )
    Ep = float(field_strength(Lb, frequency_mhz=path.frequency_mhz))
    named = whole.intermediates | {"near": share, "Lb": Lb, "Ep": Ep}
    return PathLoss(Lb, Ep, whole.line_of_sight, theta_t, theta_r, named)


def _obstacle(given: tuple[float, float] | None, d: Array) -> tuple[float, float] | None:
    """A checked obstacle."""
    if given is not None and not (0.0 < given[0] < d[-1] and math.isfinite(given[1])):
        raise ValueError(f"obstacle must lie between 0 km and the receiver at {float(d[-1])!r} km, got {given!r}")
    return given


def _answer(path: _Path, theta_t: float, theta_r: float, los: bool, named: dict[str, float]) -> PathLoss:
    """The record, with the field strength E of eq. (70)."""
    Ep = float(field_strength(named["Lb"], frequency_mhz=path.frequency_mhz))
    per_mrad = math.degrees(1e-3)
    return PathLoss(named["Lb"], Ep, los, theta_t * per_mrad, theta_r * per_mrad, named | {"Ep": Ep})


def _coast(name: str, given_km: float | None, path: _Path) -> float:
    """Land between one antenna and the sea, section 4.5: 0 at sea, as given, or measured along the path."""
    d, at_sea = path.d, path.zone == SEA
    if name == "rx_coast_km":
        d, at_sea = d[-1] - d[::-1], at_sea[::-1]
    if at_sea[0]:
        return 0.0
    if given_km is not None:
        return in_range(name, given_km, least=0.0, greatest=3000.0, unit="km")
    if not np.any(at_sea):
        return NO_COAST_KM
    first = int(np.argmax(at_sea))
    return float(0.5 * (d[first - 1] + d[first]))


def _profile(
    distance_km: ArrayLike, ground_m: ArrayLike, cover_m: ArrayLike | None, zone: str | Sequence[str]
) -> tuple[Array, Array, Array, NDArray[np.int8]]:
    """Distances, heights, heights with cover, and zone indices of a checked profile."""
    d, h = np.asarray(distance_km, dtype=np.float64), np.asarray(ground_m, dtype=np.float64)
    R = np.zeros_like(h) if cover_m is None else np.asarray(cover_m, dtype=np.float64)
    names = np.asarray([zone] * d.size if isinstance(zone, str) else list(zone))
    if d.ndim != 1 or d.size < 2:
        raise ValueError(f"distance_km must be one row of 2 or more points, got shape {d.shape}")
    for name, values in (("ground_m", h), ("cover_m", R), ("zone", names)):
        if values.shape != d.shape:
            raise ValueError(f"{name} must have one value a distance, {d.size}, got {values.shape}")
    for name, values, least, greatest in (("ground_m", h, -500.0, 9000.0), ("cover_m", R, 0.0, 1000.0)):
        if not np.all((values >= least) & (values <= greatest)):
            at = int(np.argmin((values >= least) & (values <= greatest)))
            raise ValueError(
                f"{name} must be from {least:g} to {greatest:g} m, got {float(values[at])!r} at point {at + 1}"
            )
    if d[0] != 0.0:
        raise ValueError(f"distance_km must begin at 0 km (the transmitter), got {float(d[0])!r}")
    if not np.all(np.diff(d) > 0.0):
        at = int(np.argmin(np.diff(d) > 0.0)) + 1
        raise ValueError(f"distance_km must grow from point to point, got {float(d[at])!r} km at point {at + 1}")
    in_range("distance_km", float(d[-1]), least=0.0, greatest=3000.0, unit="km")
    unknown = sorted(set(names.tolist()) - set(ZONES))
    if unknown:
        raise ValueError(f"zone must be {', '.join(ZONES)}, got {unknown[0]!r}")
    g = h + R
    g[0], g[-1] = h[0], h[-1]
    return d, h, g, np.array([ZONES.index(name) for name in names.tolist()], dtype=np.int8)
