"""The answers of ``signals`` and ``services``: a list of signals, also a measured one, in any service."""

from dataclasses import asdict
from typing import Any

from sfn.systems.ofdm import DEFAULT_THRESHOLD_DB, ofdm_answer
from sfn.systems.service import Service, modulations
from sfn.systems.signal_list import SignalList
from sfn.systems.vsb import vsb_answer
from sfn.units import SPEED_OF_LIGHT_M_PER_US


def signals_answer(
    signals: SignalList,
    service: Service,
    *,
    threshold_db: float = DEFAULT_THRESHOLD_DB,
    frequency_mhz: float | None = None,
    direct: bool = False,
) -> dict[str, Any]:
    """What a receiver makes of a list of signals.

    Parameters
    ----------
    signals : SignalList
        Levels and delays.
    service : Service
        Of kind ofdm, fm or vsb.
    threshold_db : float
        OFDM: of the strategy "first". [dB]
    frequency_mhz : float, optional
        Carrier, for the noise field of OFDM and VSB. [MHz]
    direct : bool
        FM: simulate all signals together instead of reading the table.

    Returns
    -------
    answer : dict
        ``service``, ``kind`` and what `ofdm_answer`, `vsb_answer` or `fm_answer` give, with ``sites`` where the
        list has names.

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    head: dict[str, Any] = {"service": service.id, "kind": service.kind}
    if signals.site:
        head["sites"] = list(signals.site)
    if service.kind == "fm":
        from sfn.systems.fm_answer import fm_answer  # compiles kernels that OFDM has no use for

        return head | fm_answer(signals.level_dbuvm, signals.delay_us, direct=direct)
    if direct:
        raise ValueError(f"--direct simulates FM; {service.id} is answered by formula, leave it out")
    if service.kind == "vsb":
        return head | vsb_answer(
            signals.level_dbuvm,
            signals.delay_us,
            service,
            levels_1pct=signals.level_1pct_dbuvm,
            frequency_mhz=frequency_mhz,
        )
    return head | ofdm_answer(
        signals.level_dbuvm,
        signals.delay_us,
        service,
        levels_1pct=signals.level_1pct_dbuvm,
        threshold_db=threshold_db,
        frequency_mhz=frequency_mhz,
    )


def services_answer(listed: tuple[Service, ...], *, own_file: str | None = None) -> dict[str, Any]:
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
                for name, ratios in modulations(family, own_file=own_file).items()
            }
            for family in families
        },
    }
