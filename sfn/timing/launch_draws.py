"""How far launches may be off by the tolerances of the stages they rest on, as draws: what is shared is one error.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.3.7: of a figure of which only bounds are known, every value between them is as likely as
   any other; from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from sfn.chain import MAIN, feed_stages, rests_on_assumption
from sfn.plan import Network, Stage

Doubles = NDArray[np.float64]
Key = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LaunchDoubt:
    """One error that launches share: of a device, or of every device of a model and firmware.

    Parameters
    ----------
    key : tuple of str
        ``("stage", id)`` or ``("model", model, firmware)``.
    stages : tuple of str
        Ids of its stages.
    off_us : ndarray, shape (S,)
        By how much each site's launch moves where the error is at its upper bound. [us]
    assumed : bool
        Whether one of its figures is assumed.
    """

    key: Key
    stages: tuple[str, ...]
    off_us: Doubles
    assumed: bool


def launch_doubts(network: Network, sites: Sequence[str]) -> tuple[tuple[LaunchDoubt, ...], tuple[str, ...]]:
    """Every error that can move launches against each other, the largest first; and stages without a tolerance.

    Parameters
    ----------
    network : Network
        Main routes count.
    sites : sequence of str
        Ids; what moves all that are on air alike is left out, for no listener notices it.

    Returns
    -------
    doubts : tuple of LaunchDoubt
    untold : tuple of str
        Ids of assumed stages that state no tolerance: nobody knows how far they are off, and they are not drawn.
    """
    passed = feed_stages(network)
    off: dict[Key, Doubles] = {}
    of: dict[Key, dict[str, Stage]] = {}
    untold: dict[str, None] = {}
    for i, name in enumerate(sites):
        for stage in passed.get((name, MAIN), ()):
            if not stage.tolerance_us:
                if rests_on_assumption(stage):
                    untold[stage.id] = None
                continue
            key = _key(stage)
            off.setdefault(key, np.zeros(len(sites)))[i] += stage.tolerance_us
            of.setdefault(key, {})[stage.id] = stage
    on_air = {site.id for site in network.sites if site.on_air}
    radiating = np.array([name in on_air for name in sites])
    made = [
        LaunchDoubt(key, tuple(of[key]), moves, any(rests_on_assumption(stage) for stage in of[key].values()))
        for key, moves in off.items()
        if radiating.any() and np.ptp(moves[radiating]) > 0.0
    ]
    return tuple(sorted(made, key=lambda one: (-float(np.ptp(one.off_us[radiating])), one.key))), tuple(untold)


def _key(stage: Stage) -> Key:
    """Whose error it is."""
    if stage.tolerance_kind == "model" and stage.model is not None:
        return ("model", stage.model, stage.firmware or "")
    return ("stage", stage.id)


def drawn_part(doubt: LaunchDoubt, *, seed: int, draw: int) -> float:
    """Where an error lies between its bounds in one draw, -1 to 1, each as likely [1]_; by seed, draw and key alone."""
    words = sha256("|".join(doubt.key).encode()).digest()
    numbers = (int.from_bytes(words[4 * k : 4 * k + 4], "big") for k in range(4))
    return float(np.random.default_rng([seed, draw, *numbers]).uniform(-1.0, 1.0))


def launch_errors_us(doubts: Sequence[LaunchDoubt], parts: Sequence[float], sites_n: int) -> Doubles:
    """What launches are off by, shape (S,). [us]"""
    made = np.zeros(sites_n)
    for doubt, part in zip(doubts, parts, strict=True):
        made += part * doubt.off_us
    return made
