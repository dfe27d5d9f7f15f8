"""The service's own figures behind margins: S/N of FM, C/(N+I) of OFDM and 8-VSB."""

import numpy as np
from numpy.typing import NDArray

from sfn.reception.quality import ServiceQuality, Yardstick
from sfn.systems.fm import quality as fm_quality
from sfn.systems.fm_carried import local_of

Singles = NDArray[np.float32]
Doubles = NDArray[np.float64]


def figures(
    found: ServiceQuality, level_dbuvm: NDArray[np.floating], arrival_us: Doubles, yard: Yardstick
) -> dict[str, Singles]:
    """The service's own figures behind margins, by name, shape (M,); NaN where no signal is known. [dB]

    Parameters
    ----------
    found : ServiceQuality
        Of the same signals.
    level_dbuvm, arrival_us : ndarray, shape (S, M)
        As for `service_quality`. [dB(uV/m), us]
    yard : Yardstick

    Returns
    -------
    dict
        FM: ``stereo_snr_db`` (where the service is stereo) and ``mono_snr_db``, the worst decile over phase averaged
        over the local spread, without the receiver's implementation margin: no share of listeners. OFDM: ``cni_db``,
        C/(N+I) in the window of the chosen strategy. VSB: the same, echoes counted as its mask weighs them: its margin
        with the required C/N.
    """
    if yard.carried.kind == "ofdm":
        return {"cni_db": found.figure_db}
    if yard.carried.kind != "fm":
        return {"cni_db": found.figure_db}
    return {
        f"{mode}_snr_db": _worst_tenth(found, level_dbuvm, arrival_us, yard, mode)
        for mode in (("mono",) if yard.carried.id == "fm-mono" else ("stereo", "mono"))
    }


def _worst_tenth(
    found: ServiceQuality, level_dbuvm: NDArray[np.floating], arrival_us: Doubles, yard: Yardstick, mode: str
) -> Singles:
    """FM: mean in dB of the worst decile over phase, over the local spread; without a receiver's margin. [dB]"""
    if not level_dbuvm.shape[0]:
        return found.margin_db
    heard = fm_quality(level_dbuvm, arrival_us, local=local_of(yard.programme, mode)).snr_local_db
    return np.where(np.isnan(found.margin_db), np.nan, heard).astype(np.float32)


def hurting_minus_strongest(
    values: NDArray[np.floating], limiting: NDArray[np.floating], strongest: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Of values shaped (S, M) that of the signal that hurts minus that of the strongest, shape (M,).

    NaN where none hurts, or the strongest itself.
    """
    hurts, here = np.nan_to_num(limiting, nan=-1).astype(np.intp), np.arange(values.shape[1])
    apart = np.zeros(len(here), bool) if not len(values) else (hurts >= 0) & (strongest >= 0) & (hurts != strongest)
    made = np.full(len(here), np.nan)
    made[apart] = values[hurts[apart], here[apart]] - values[strongest[apart], here[apart]]
    return made
