"""Whether a network's frequency is one of its service."""

from sfn.errors import Problem, Touch
from sfn.plan import Network
from sfn.systems.service import Service

# A decimal point lost or a unit mistaken: the factors that are tried to name the slip.
_SLIPS = (0.1, 10.0, 0.001, 1000.0, 0.01, 100.0)


def band_problems(network: Network, carried: Service) -> tuple[Problem, ...]:
    """A frequency outside every band of the service, with the slip that explains it; nothing where no band is known.

    Parameters
    ----------
    network : Network
    carried : Service
    """
    bands = carried.bands_mhz
    if not bands or _within(network.frequency_mhz, bands):
        return ()
    slips = [network.frequency_mhz * factor for factor in _SLIPS]
    perhaps = next((f"; perhaps {mhz:.6g} MHz" for mhz in slips if _within(mhz, bands)), "")
    listed = ", ".join(f"{low:g} to {high:g}" for low, high in bands)
    return (
        Problem(
            "frequency_mhz", f"{network.frequency_mhz:g} MHz is no frequency of {carried.name}",
            f"{listed} MHz{perhaps}", "warning", code="frequency-outside-band",
            touches=tuple(Touch(site.id) for site in network.sites), stages=(), fields=("frequency_mhz",),
            values={"frequency_mhz": network.frequency_mhz},
            said={
                "service_name": carried.name, "listed": ", ".join(f"{low:g}\u2013{high:g}" for low, high in bands),
                "perhaps": next((f"{mhz:.6g}" for mhz in slips if _within(mhz, bands)), None),
            },
        ),
    )  # fmt: skip


def _within(frequency_mhz: float, bands_mhz: tuple[tuple[float, float], ...]) -> bool:
    """Whether it lies in one of the bands."""
    return any(low <= frequency_mhz <= high for low, high in bands_mhz)
