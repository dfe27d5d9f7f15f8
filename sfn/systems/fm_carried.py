"""The programme that FM quality is worked out for: a network's own, its tables, and the words for it."""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.systems.fm import LOCAL_SPREAD_DB, LocalTable, local_table
from sfn.systems.fm_causes import Nodes, PhaseTable, combination, load as load_phases
from sfn.systems.fm_programme import SOUNDS
from sfn.systems.fm_table import Parameters, Table, load
from sfn.systems.service import service_named

USUAL = Nodes()
_PHASES_N = 256


def carried_by(network: Network) -> Nodes:
    """The programme of a network's document; light, 50 us and 0 dBr where it names none.

    Parameters
    ----------
    network : Network
    """
    own = network.programme
    return USUAL if own is None else combination(own.kind, own.pre_emphasis_us, own.multiplex_dbr)


def programme_says(nodes: Nodes, *, assumed: bool = False) -> str:
    """In words what a figure of FM quality holds for.

    Examples
    --------
    >>> programme_says(USUAL, assumed=True)
    'light music: programme-simulating noise of ITU-T J.19, S 6 dB below M; 50 µs, 0 dBr (the document names none)'
    """
    said = f"{SOUNDS[nodes.kind].said}; {nodes.emphasis_us:g} µs, {nodes.level_dbr:+g} dBr".replace("+0 dBr", "0 dBr")
    return f"{said} (the document names none)" if assumed else said


def heard_programme(network: Network) -> str:
    """The same of a network, empty where its service is no FM.

    Parameters
    ----------
    network : Network
    """
    if not service_named(network.service, own_services=network.own_services).startswith("fm-"):
        return ""
    carried = carried_by(network)
    other = {site.lock.pre_emphasis_us for site in network.sites if site.lock and site.lock.pre_emphasis_us is not None}
    other -= {carried.emphasis_us}
    unlike = f", though lock sheets say {' and '.join(str(each) for each in sorted(other))} µs" if other else ""
    return programme_says(carried, assumed=network.programme is None) + unlike


@cache
def table_of(nodes: Nodes) -> Table:
    """Median, worst decile and mean over phase of a programme.

    Notes
    -----
    The usual programme has a table of its own with more nodes and phases; the others come of their S/N by phase,
    straight between its nodes: where both exist they differ by 0.5 dB rms, 1.3 in the mono median, which is
    steep near equal levels.
    """
    if nodes == USUAL:
        return load()
    return statistics_of(load_phases(nodes))


def statistics_of(found: PhaseTable) -> Table:
    """The statistics over phase of a table by phase."""
    nodes = found.nodes
    by_phase = found.snr_db["delay"]
    turn = (np.arange(_PHASES_N) + 0.5) / _PHASES_N
    every = _at_phases(by_phase, np.array(nodes.phase_turn), turn)
    median, decile = np.quantile(every, [0.5, 0.1], axis=-1, method="hazen")
    mean = -10 * np.log10((10 ** (-every / 10)).mean(axis=-1))
    parameters = Parameters(
        emphasis_us=nodes.emphasis_us,
        programme_level_db=nodes.level_dbr,
        delay_from_us=nodes.delay_from_us,
        delay_to_us=nodes.delay_to_us,
        delays=nodes.delays,
        seeds=nodes.seeds,
        level_difference_db=nodes.level_difference_db,
    )
    return Table(parameters, np.stack([median, decile, mean], axis=1))


def _at_phases(snr_db: NDArray[np.float64], at: NDArray[np.float64], turn: NDArray[np.float64]) -> NDArray[np.float64]:
    """S/N (..., nodes of phase) at other phases (..., P), straight between."""
    below = np.clip(np.searchsorted(at, turn, side="right") - 1, 0, at.size - 2)
    part = (turn - at[below]) / (at[below + 1] - at[below])
    return np.asarray(snr_db[..., below] * (1 - part) + snr_db[..., below + 1] * part)


@cache
def local_of(nodes: Nodes, mode: str, spread_db: float = LOCAL_SPREAD_DB) -> LocalTable:
    """The figure "worst tenth, local spread" of a programme: see `sfn.systems.fm.local_table`."""
    return local_table(mode, spread_db=spread_db, table=table_of(nodes))
