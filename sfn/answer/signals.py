"""As JSON: the answers of ``signals`` and ``services``: a list of signals, also a measured one, in any service."""

from dataclasses import asdict
from typing import Any

from sfn.systems.service import Service, modulations
from sfn.units import SPEED_OF_LIGHT_M_PER_US


def services_answer(listed: tuple[Service, ...], *, own_services: str = "") -> dict[str, Any]:
    """Services with every parameter and source, and the modulations that may follow the ids of their families."""
    families = dict.fromkeys(each.family for each in listed)
    return {
        "services": [
            asdict(each)
            | {"guard_km": None if each.guard_us is None else each.guard_us * SPEED_OF_LIGHT_M_PER_US / 1000.0}
            for each in listed
        ],
        "modulations": {
            family: {
                name: {"gauss_db": ratios[0], "rice_db": ratios[1], "rayleigh_db": ratios[2]}
                for name, ratios in modulations(family, own_services=own_services).items()
            }
            for family in families
        },
    }
