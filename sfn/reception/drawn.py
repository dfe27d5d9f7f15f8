"""Coverage probability with the receiver following: levels are drawn, and for every draw the window is placed anew.

| symbol | name | meaning |
|---|---|---|
| sigma | `sigma_db` | spread of a site's level over the places around a point |
| rho | `site_correlation_ratio` | of two sites' levels up to 30 degrees apart, falling evenly to 0 at 90 |
| | `cosited_correlation_ratio` | of two on one mast; in one direction and far from each other they are not that |

With the window where the medians put it, shares of places came out up to 0.54 too high: a place around has other levels
and a receiver there another window.

References
----------
.. [1] Spread 5.5 dB outdoors (wideband), indoors 6.3 dB at VHF and 7.8 dB at UHF with the building's own: GE06 Annex 2
   chapter 3, read in a typed copy.
.. [2] Correlation that falls with the angle between paths, 0.5 and less for different sites and near 1 for one mast:
   order of magnitude of measurements at VHF and UHF; from memory, editable.
"""

from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.reception.drawn_kernels import DRAWN_OTHERS_N, drawn_points
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm import profile
from sfn.systems.ofdm_window import MAP_STRATEGIES, Placing, filled, window_times
from sfn.systems.service import Service

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]

USUAL_DRAWS_N = 256
DRAWN_SIGNALS_N = 12  # weaker ones of a place keep their medians
USUAL_CORRELATION = 0.5
COSITED_CORRELATION = 0.9
POINTS_AT_A_TIME = 4096


@dataclass(frozen=True, slots=True)
class Spread:
    """How levels vary over the places around a point: spread [dB], and correlation of sites near in bearing [1]."""

    sigma_db: float
    site_correlation_ratio: float = USUAL_CORRELATION
    cosited_correlation_ratio: float = COSITED_CORRELATION


@dataclass(frozen=True, slots=True)
class Strangers:
    """O transmitters of other programmes beside M places: their levels are drawn with ours.

    Parameters
    ----------
    needed_dbuvm : (O, M) array
        What the strongest of ours must reach beside each by its medians; not finite: nothing. [dB(uV/m)]
    lat_deg, lon_deg : (M,) arrays
        Of the places. [degrees]
    theirs_deg : (O, 2) array
        Latitude and longitude of the transmitters. [degrees]
    masts : (S + O,) array of int
        As the argument of `drawn_coverage`, ours and theirs.
    """

    needed_dbuvm: Doubles
    lat_deg: Doubles
    lon_deg: Doubles
    theirs_deg: Doubles
    masts: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Share of places around M points, shape (M,), NaN where nothing is received: served, and but for other programmes.

    Both are the same where no other transmitter is listed. [1]
    """

    share: Singles
    own: Singles


@cache
def normal_draws(draws_n: int, signals_n: int) -> Doubles:
    """Evenly spread standard normal draws, shape (D, N): scrambled Sobol points, the same in every run."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    even = qmc.Sobol(signals_n, scramble=True, rng=np.random.default_rng(20)).random(draws_n)
    return np.ascontiguousarray(ndtri(np.clip(even, 1e-12, 1 - 1e-12)))


def drawn_coverage(
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    service: Service,
    *,
    placing: Placing,
    spread: Spread,
    bearing_deg: ArrayLike | None = None,
    masts: ArrayLike | None = None,
    level_1pct_dbuvm: ArrayLike | None = None,
    frequency_mhz: float | None = None,
    noise_dbuvm: ArrayLike | None = None,
    draws_n: int = USUAL_DRAWS_N,
    executor: Executor | None = None,
) -> Singles:
    """Share of places around each point where C/(N+I) reaches what the profile requires, beside no other programme.

    See `drawn_beside`.
    """
    return drawn_beside(
        level_dbuvm, arrival_us, service, placing=placing, spread=spread, bearing_deg=bearing_deg, masts=masts,
        level_1pct_dbuvm=level_1pct_dbuvm, frequency_mhz=frequency_mhz, noise_dbuvm=noise_dbuvm, draws_n=draws_n,
        executor=executor,
    ).share  # fmt: skip


def drawn_beside(
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    service: Service,
    *,
    placing: Placing,
    spread: Spread,
    bearing_deg: ArrayLike | None = None,
    masts: ArrayLike | None = None,
    level_1pct_dbuvm: ArrayLike | None = None,
    frequency_mhz: float | None = None,
    noise_dbuvm: ArrayLike | None = None,
    strangers: Strangers | None = None,
    draws_n: int = USUAL_DRAWS_N,
    executor: Executor | None = None,
) -> Drawn:
    """Share of places around each point where C/(N+I) reaches what the profile of arrivals requires.

    And where the strongest of ours, as drawn, reaches what every transmitter of another programme asks for, as drawn.

    Parameters
    ----------
    level_dbuvm, arrival_us : (S, M) array_like
        Medians over places at 50 % of time, and arrivals; NaN: not received. [dBuV/m, us]
    service : Service
        OFDM.
    placing : Placing
        How receivers place their window, of a map's strategies.
    spread : Spread
        Log-normal spread and correlation of the sites' levels.
    bearing_deg : (S, M) array_like, optional
        From the points to the sites; without it levels vary independently. [degrees]
    masts : (S,) array_like of int, optional
        Sites of one number share a mast; without it none do.
    level_1pct_dbuvm : (S, M) array_like, optional
        At 1 % of time, for the interfering parts; a signal's two levels vary together. [dBuV/m]
    frequency_mhz, noise_dbuvm
        As for `sfn.systems.ofdm_map.ofdm_map`. [MHz, dBuV/m]
    strangers : Strangers, optional
        Transmitters of other programmes.
    draws_n : int
        A power of two.
    executor : concurrent.futures.Executor, optional
        Threads to share the points out to.

    Raises
    ------
    ValueError
        If shapes differ, the service is not OFDM, or the strategy none of a map's.
    """
    levels = _rows(level_dbuvm)
    arrivals = np.ascontiguousarray(arrival_us, dtype=np.float64)
    rare = levels if level_1pct_dbuvm is None else _rows(level_1pct_dbuvm)
    bearings = np.empty((0, 0), np.float32) if bearing_deg is None else np.ascontiguousarray(bearing_deg, np.float32)
    if levels.ndim != 2 or not levels.shape == arrivals.shape == rare.shape:
        raise ValueError(
            f"levels and arrivals must have one shape (S, M), got {levels.shape}, {rare.shape}, {arrivals.shape}"
        )
    if bearing_deg is not None and bearings.shape != levels.shape:
        raise ValueError(f"bearing_deg must have the shape of the levels, {levels.shape}, got {bearings.shape}")
    together = np.arange(len(levels), dtype=np.int64) if masts is None else np.ascontiguousarray(masts, np.int64)
    if together.shape != levels.shape[:1]:
        raise ValueError(f"masts must be one number for each of {len(levels)} sites, got shape {together.shape}")
    if placing.strategy not in MAP_STRATEGIES:
        raise ValueError(f"a map's strategy must be one of {', '.join(MAP_STRATEGIES)}, got {placing.strategy!r}")
    whole = filled(placing, service)
    if noise_dbuvm is None:
        noise_dbuvm = noise_field_dbuvm(service, frequency_mhz=frequency_mhz)
    noise = 10.0 ** (np.atleast_1d(np.asarray(noise_dbuvm, dtype=np.float64)) / 10.0)
    points = levels.shape[1]
    if noise.shape not in {(1,), (points,)}:
        raise ValueError(f"noise_dbuvm must be one field or one for each of {points} points, got shape {noise.shape}")
    share, own = np.empty(points, np.float32), np.empty(points, np.float32)
    needed, theirs, lat_deg, lon_deg = np.empty((0, points)), np.empty((0, 2)), np.empty(0), np.empty(0)
    if strangers is not None:
        needed, theirs, together = strangers.needed_dbuvm, strangers.theirs_deg, strangers.masts
        lat_deg, lon_deg = strangers.lat_deg, strangers.lon_deg
    drawn_n = DRAWN_SIGNALS_N + (DRAWN_OTHERS_N if len(needed) else 0)

    def some(start: int) -> None:
        """One chunk of the points."""
        drawn_points(
            levels,
            rare,
            arrivals,
            bearings,
            together,
            noise,
            window_times(service).clock(),
            np.array([*profile(service), float(service.required_cn_db or 0.0)]),
            MAP_STRATEGIES.index(whole.strategy),
            whole.backoff_us or 0.0,
            10.0 ** (-float(whole.threshold_db or 0.0) / 10.0),
            spread.sigma_db,
            spread.site_correlation_ratio,
            spread.cosited_correlation_ratio,
            needed,
            lat_deg,
            lon_deg,
            theirs,
            normal_draws(draws_n, drawn_n),
            start,
            min(start + POINTS_AT_A_TIME, points),
            share,
            own,
        )

    starts = range(0, points, POINTS_AT_A_TIME)
    for _ in map(some, starts) if executor is None else executor.map(some, starts):
        pass
    return Drawn(share, own)


def _rows(values: ArrayLike) -> Doubles:
    """Levels as the kernel reads them: float32 stays float32."""
    array = np.asarray(values)
    return np.ascontiguousarray(array if array.dtype == np.float32 else array.astype(np.float64))
