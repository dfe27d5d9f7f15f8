"""From a receiver's noise to the median field that serves a given share of places (GE06, ITU-R BT.2033).

| symbol | name | meaning |
|---|---|---|
| Pn | `noise_power_dbw` | receiver noise, `F + 10 log10(k T0 B)` |
| Aa | `aperture_dbm2` | effective area of the antenna |
| phi | `power_flux_dbwm2` | least power flux density |
| Emin | `minimum_field_dbuvm` | least field at one place |
| Pmmn | `man_made_noise_db` | allowance for man-made noise |
| Cl | `location_correction_db` | for the share of places |
| Lh, Lb | `height_loss_db`, `building_loss_db` | from 10 m down to the receiver; into the building |
| Emed | `minimum_median_dbuvm` | least median field |

References
----------
.. [1] GE06 Final Acts, Annex 2 Chapter 3 and Appendix 3.4 (read in a typed copy).
.. [2] ITU-R BT.2033-2, annex; BT.2036 (read in open code and a typed copy).
"""

from dataclasses import asdict, dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np

from sfn.errors import in_range
from sfn.systems.service import Service
from sfn.units import SPEED_OF_LIGHT_M_PER_US

BOLTZMANN_J_PER_K = 1.38e-23  # as GE06 prints it
REFERENCE_TEMPERATURE_K = 290.0
# Field from power flux density, 10 log10(120 pi) + 120 as GE06 rounds it (145.76 exactly).
FLUX_TO_FIELD_DB = 145.8
HALF_WAVE_DIPOLE = 1.64

# Loss from 10 m to 1.5 m: GE06 Annex 2 section 3.2.2.1, interpolated over the logarithm of frequency.
HEIGHT_LOSS_AT_MHZ = (200.0, 500.0, 800.0)
HEIGHT_LOSS_DB = (12.0, 16.0, 18.0)

Receiver = Literal["fixed", "portable outdoor", "portable indoor", "mobile"]
BuildingClass = Literal["high", "medium", "low"]
# ITU-R BT.2033-2 at UHF: class of the building's efficiency, median entry loss and its spread.
BUILDING_DB: dict[str, tuple[float, float]] = {"high": (7.0, 5.0), "medium": (11.0, 6.0), "low": (15.0, 7.0)}


def noise_power_dbw(noise_bandwidth_mhz: float, *, noise_figure_db: float) -> float:
    """Noise power of a receiver referred to its input, ``Pn = F + 10 log10(k T0 B)`` ([1]_ Annex 2, section 3.4).

    Raises
    ------
    ValueError
        If the bandwidth is not from 0.001 to 100 MHz.

    Examples
    --------
    >>> print(f"{noise_power_dbw(7.61, noise_figure_db=7.0):.2f}")
    -128.16
    """
    in_range("noise_bandwidth_mhz", noise_bandwidth_mhz, least=0.001, greatest=100, unit="MHz")
    power_w = BOLTZMANN_J_PER_K * REFERENCE_TEMPERATURE_K * noise_bandwidth_mhz * 1e6
    return float(noise_figure_db + 10.0 * np.log10(power_w))


def aperture_dbm2(antenna_gain_dbd: float, *, frequency_mhz: float) -> float:
    """Effective area of a receiving antenna, ``Gd + 10 log10(1.64 lambda^2 / 4 pi)``. [dB(m2)]

    Raises
    ------
    ValueError
        If the frequency is not from 0.1 to 10 000 MHz.
    """
    in_range("frequency_mhz", frequency_mhz, least=0.1, greatest=10_000, unit="MHz")
    wavelength_m = SPEED_OF_LIGHT_M_PER_US / frequency_mhz
    return float(antenna_gain_dbd + 10.0 * np.log10(HALF_WAVE_DIPOLE * wavelength_m**2 / (4.0 * np.pi)))


def location_correction_db(location_pct: float, *, sigma_db: float, building_sigma_db: float = 0.0) -> float:
    """Margin from half of the places to a greater share, ``Cl = mu sqrt(sigma_m^2 + sigma_b^2)``.

    Raises
    ------
    ValueError
        If the share is not between 0.01 and 99.99 %.

    Examples
    --------
    >>> print(f"{location_correction_db(95.0, sigma_db=5.5):.2f}")
    9.05
    """
    in_range("location_pct", location_pct, least=0.01, greatest=99.99, unit="%")
    return NormalDist().inv_cdf(location_pct / 100.0) * float(np.hypot(sigma_db, building_sigma_db))


def height_loss_db(frequency_mhz: float) -> float:
    """Height loss from 10 m to 1.5 m: 12, 16, 18 dB at 200, 500, 800 MHz, held constant outside these.

    Predictions made at the receiver's own height contain it already: never add it to those.
    """
    in_range("frequency_mhz", frequency_mhz, least=0.1, greatest=10_000, unit="MHz")
    return float(np.interp(np.log10(frequency_mhz), np.log10(HEIGHT_LOSS_AT_MHZ), HEIGHT_LOSS_DB))


def frequency_correction_db(frequency_mhz: float, *, reference_frequency_mhz: float, receiver: str) -> float:
    """Correction of a tabled median field to another frequency: 20 log10 fixed, 30 log10 portable and mobile.

    Source: GE06 Annex 2 Appendix 3.4 as transcribed in a national regulation.
    """
    slope = 20.0 if receiver == "fixed" else 30.0
    return float(slope * np.log10(frequency_mhz / reference_frequency_mhz))


@dataclass(frozen=True, slots=True)
class LinkChain:
    """Every intermediate of the chain, in the order of the derivation (symbols: table on top of the module)."""

    noise_power_dbw: float
    required_cn_db: float
    least_power_dbw: float
    aperture_dbm2_db: float
    feeder_loss_db: float
    power_flux_dbwm2_db: float
    minimum_field_dbuvm: float
    man_made_noise_db: float
    location_correction_db: float
    height_loss_db: float
    building_loss_db: float
    minimum_median_dbuvm: float
    noise_field_dbuvm: float

    def as_json(self) -> dict[str, float]:
        """The intermediates by name."""
        return {key: float(value) for key, value in asdict(self).items()}


def link_chain(
    required_cn_db: float,
    *,
    frequency_mhz: float,
    noise_bandwidth_mhz: float,
    noise_figure_db: float,
    antenna_gain_dbd: float,
    feeder_loss_db: float = 0.0,
    man_made_noise_db: float = 0.0,
    location_pct: float = 50.0,
    sigma_db: float = 0.0,
    height_loss_db: float = 0.0,
    building_loss_db: float = 0.0,
    building_sigma_db: float = 0.0,
) -> LinkChain:
    """Work the chain through: ``Emed = Emin + Pmmn + Cl + Lh + Lb`` ([1]_, [2]_).

    Parameters
    ----------
    required_cn_db : float
        C/N of the mode. [dB]
    frequency_mhz, noise_bandwidth_mhz, noise_figure_db, antenna_gain_dbd, feeder_loss_db : float
        Receiver and antenna.
    man_made_noise_db, height_loss_db, building_loss_db : float
        Allowances; 0 where they do not apply. [dB]
    location_pct, sigma_db, building_sigma_db : float
        Share of places and the spreads outdoors and into the building. [%, dB]

    Returns
    -------
    chain : LinkChain
        With ``noise_field_dbuvm``, the field that gives as much power as receiver and man-made noise.

    Raises
    ------
    ValueError
        If an argument is out of its range; the text gives name, value, unit and range.

    Examples
    --------
    GE06 reference planning configuration 1 at 650 MHz, printed as 56 dBuV/m:

    >>> chain = link_chain(21, frequency_mhz=650, noise_bandwidth_mhz=7.61, noise_figure_db=7,
    ...                    antenna_gain_dbd=11, feeder_loss_db=4, location_pct=95, sigma_db=5.5)
    >>> print(f"{chain.minimum_field_dbuvm:.1f} {chain.minimum_median_dbuvm:.2f}")
    47.2 56.25
    """
    noise_dbw = noise_power_dbw(noise_bandwidth_mhz, noise_figure_db=noise_figure_db)
    aperture = aperture_dbm2(antenna_gain_dbd, frequency_mhz=frequency_mhz)
    flux = required_cn_db + noise_dbw - aperture + feeder_loss_db
    field_dbuvm = flux + FLUX_TO_FIELD_DB
    location_db = location_correction_db(location_pct, sigma_db=sigma_db, building_sigma_db=building_sigma_db)
    return LinkChain(
        noise_power_dbw=noise_dbw,
        required_cn_db=required_cn_db,
        least_power_dbw=required_cn_db + noise_dbw,
        aperture_dbm2_db=aperture,
        feeder_loss_db=feeder_loss_db,
        power_flux_dbwm2_db=flux,
        minimum_field_dbuvm=field_dbuvm,
        man_made_noise_db=man_made_noise_db,
        location_correction_db=location_db,
        height_loss_db=height_loss_db,
        building_loss_db=building_loss_db,
        minimum_median_dbuvm=field_dbuvm + man_made_noise_db + location_db + height_loss_db + building_loss_db,
        noise_field_dbuvm=field_dbuvm - required_cn_db + man_made_noise_db,
    )


def service_chain(service: Service, *, frequency_mhz: float | None = None) -> LinkChain:
    """The chain of a service's own planning figures, at the height that the fields are predicted for.

    Parameters
    ----------
    service : Service
        Gives C/N, noise figure, antenna, man-made noise, spread and share of places.
    frequency_mhz : float, optional
        Carrier; the service's reference frequency where none is given.

    Raises
    ------
    ValueError
        If the service has no required C/N (FM), or the frequency is out of range.
    """
    if service.required_cn_db is None:
        raise ValueError(f"{service.id} is not planned by a required C/N; its minimum field is tabled")
    return link_chain(
        service.required_cn_db,
        frequency_mhz=service.reference_frequency_mhz if frequency_mhz is None else frequency_mhz,
        noise_bandwidth_mhz=service.noise_bandwidth_mhz,
        noise_figure_db=service.noise_figure_db,
        antenna_gain_dbd=service.antenna_gain_dbd,
        feeder_loss_db=service.feeder_loss_db,
        man_made_noise_db=service.man_made_noise_db,
        location_pct=service.location_pct,
        sigma_db=service.location_sigma_db,
    )


def noise_field_dbuvm(service: Service, *, frequency_mhz: float | None = None) -> float:
    """Field whose power equals receiver and man-made noise: what C/(N+I) is worked out with. [dBuV/m]"""
    chain_free = link_chain(
        0.0,
        frequency_mhz=service.reference_frequency_mhz if frequency_mhz is None else frequency_mhz,
        noise_bandwidth_mhz=service.noise_bandwidth_mhz,
        noise_figure_db=service.noise_figure_db,
        antenna_gain_dbd=service.antenna_gain_dbd,
        feeder_loss_db=service.feeder_loss_db,
        man_made_noise_db=service.man_made_noise_db,
    )
    return chain_free.noise_field_dbuvm


def minimum_median_dbuvm(service: Service, *, frequency_mhz: float) -> float:
    """The service's tabled minimum median field moved to a carrier; FM's holds for its whole band. [dBuV/m]"""
    if service.kind == "fm":
        return service.minimum_median_dbuvm
    return service.minimum_median_dbuvm + frequency_correction_db(
        frequency_mhz, reference_frequency_mhz=service.reference_frequency_mhz, receiver=service.receiver
    )
