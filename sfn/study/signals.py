"""The answers of ``signals`` and ``services``: a list of signals, also a measured one, in any service."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from sfn.plan import Network
from sfn.reception.quality import ADEQUATE_SNR_DB
from sfn.report.stems import Stemmed, Stems, stems
from sfn.systems.bs412 import nuisance_field, unrelated_snr
from sfn.systems.fm_carried import USUAL, carried_by
from sfn.systems.fm_causes import Nodes
from sfn.systems.ofdm import of_strategy, ofdm_answer
from sfn.systems.ofdm_window import Placing
from sfn.systems.service import Service
from sfn.systems.signal_list import INTERFERENCE, Others, SignalList
from sfn.systems.vsb import vsb_answer


def signals_answer(
    signals: SignalList,
    service: Service,
    *,
    placing: Placing | None = None,
    frequency_mhz: float | None = None,
    direct: bool = False,
    programme: Nodes = USUAL,
) -> dict[str, Any]:
    """What a receiver makes of a list of signals.

    Parameters
    ----------
    signals : SignalList
        Levels and delays.
    service : Service
        Of kind ofdm, fm or vsb.
    placing : Placing, optional
        OFDM: the strategy that counts, its back-off, and how far down "first" looks.
    frequency_mhz : float, optional
        Carrier, for the noise field of OFDM and VSB. [MHz]
    direct : bool
        FM: simulate all signals together instead of reading the table.
    programme : Nodes, default light, 50 us and 0 dBr
        FM: what is heard.

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

        if signals.needs_simulation and not direct:
            raise ValueError("carriers or deviations differ: the table is without them, ask for the direct simulation")
        offset, mismatch = signals.carrier_offset_hz, signals.deviation_mismatch_pct
        return head | fm_answer(
            signals.level_dbuvm,
            signals.delay_us,
            direct=direct,
            programme=programme,
            carrier_offset_hz=0.0 if offset is None else offset,
            deviation_mismatch_ratio=0.0 if mismatch is None else mismatch / 100.0,
        )
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
        placing=placing,
        frequency_mhz=frequency_mhz,
    )


@dataclass(frozen=True, slots=True)
class Listed:
    """A list of signals as a page shows it."""

    answer: dict[str, Any]
    names: tuple[str, ...]
    unrelated: dict[str, Any] | None
    stems: Stems


def listed(
    signals: SignalList,
    network: Network,
    carried: Service,
    *,
    placing: Placing | None = None,
    frequency_mhz: float,
    direct: bool = False,
    others: Others | None = None,
) -> Listed:
    """What a receiver makes of a list of signals, with its picture.

    Parameters
    ----------
    signals, placing, direct
        As for `signals_answer`.
    network : Network
        Its thresholds say what is adequate (FM) and significant.
    carried : Service
    frequency_mhz : float
        Carrier. [MHz]
    others : Others, optional
        FM: services with other programmes.

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    simulated = direct or (carried.kind == "fm" and signals.needs_simulation)
    answer = signals_answer(
        signals,
        carried,
        placing=placing,
        frequency_mhz=frequency_mhz,
        direct=simulated,
        programme=carried_by(network),
    )
    names = signals.site or tuple(f"signal {n}" for n in range(1, len(signals.delay_us) + 1))
    window_us = 0.0
    if "strategies" in answer:
        window_us = of_strategy(answer)["window_us"]
    order = np.argsort(-signals.level_dbuvm, kind="stable")
    top = int(order[0])
    arrivals = tuple(
        Stemmed(
            names[k],
            float(signals.delay_us[k] - signals.delay_us[top]),
            float(signals.level_dbuvm[k] - signals.level_dbuvm[top]),
            True,  # a list is what its maker wants counted
        )
        for k in order
    )
    adequate_db = network.thresholds.adequate_snr_db
    picture = stems(
        arrivals,
        carried,
        refractivity_n=network.refractivity_n,
        window_us=window_us,
        adequate_snr_db=ADEQUATE_SNR_DB if adequate_db is None else adequate_db,
    )
    unrelated = None
    if carried.kind == "fm" and others is not None:
        unrelated = unrelated_answer(others, float(signals.level_dbuvm[top]))
    return Listed(answer, names, unrelated, picture)


def unrelated_answer(others: Others, wanted_dbuvm: float) -> dict[str, Any]:
    """What services with other programmes ask of an FM signal, by ITU-R BS.412.

    Returns
    -------
    answer : dict
        ``"mono"`` and ``"stereo"``: each ``{"steady_dbuvm", "tropospheric_dbuvm"`` (fields that the wanted one must
        have, None without any)``, "snr_db", "margin_db"}``; and ``"wanted_dbuvm"``.
    """
    answer: dict[str, Any] = {"wanted_dbuvm": wanted_dbuvm}
    for name, stereo in (("mono", False), ("stereo", True)):
        fields = {}
        for kind in INTERFERENCE:
            of_kind = np.array([k == kind for k in others.interference], dtype=bool)
            level, spacing = others.level_dbuvm[of_kind], others.spacing_khz[of_kind]
            fields[kind] = float(nuisance_field(level, spacing, stereo=stereo, interference=kind))
        worst = max(fields.values())
        answer[name] = {f"{kind}_dbuvm": value if np.isfinite(value) else None for kind, value in fields.items()}
        answer[name] |= {
            "snr_db": float(unrelated_snr(wanted_dbuvm, worst)),
            "margin_db": wanted_dbuvm - worst if np.isfinite(worst) else None,
        }
    return answer
