"""The same places in several drawn worlds at once: what a plan serves on the average, or at the bad end.

The places stand side by side, a world after the other, each with its own levels and arrivals; so whatever searches a
`Scene` searches this one. Offsets move along lines that the average of the worlds decides; what is taken is decided by
the key.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sfn.solve.objective import EVEN_RATIO
from sfn.solve.options import Choice, Key
from sfn.solve.scene import KEPT_BYTES, Doubles, Places, Scene, Singles

P20_QUANTILE = 0.2
Part = float  # of 1


@dataclass(frozen=True, slots=True)
class WorldScene(Scene):
    """S sites over M places in W worlds: arrays of the places are (W M,), and (S, W M).

    Parameters
    ----------
    worlds_n : int
    quantile : float, optional
        The part of the worlds in which as little, or less, is served: that is to be as good as can be. None: the mean.
    """

    worlds_n: int = 1
    quantile: Part | None = None
    _world: NDArray[np.intp] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        """Which world each place stands in."""
        object.__setattr__(self, "_world", np.repeat(np.arange(self.worlds_n), self.weight.size // self.worlds_n))

    @property
    def places_n(self) -> int:
        """How many places there are in one world."""
        return int(self.weight.size // self.worlds_n)

    @property
    def even(self) -> float:
        """As `Scene.even`, of one world."""
        of_one = max(float(self.weight.sum()) / self.worlds_n, 1e-12)
        return float(2.0 ** np.floor(np.log2(of_one * EVEN_RATIO)))

    def summed(self, parts: Doubles, at: Places | slice) -> Doubles:
        """Totals of each world, shape (3, W)."""
        world = self._world[at]
        return np.stack([np.bincount(world, weights=row, minlength=self.worlds_n) for row in parts])

    def key(self, totals: Doubles) -> Key:
        """Totals (3, W) as one key, the smaller the better."""
        if self.quantile is None:
            without, below, margin = totals.mean(axis=1)
        else:
            without, below = np.quantile(totals[:2], 1.0 - self.quantile, axis=1)
            margin = totals[2].mean()
        of_one = max(float(self.weight.sum()) / self.worlds_n, 1e-12)
        even = self.even
        return float(round(without / even) * even), float(round(below / even) * even), -round(float(margin) / of_one, 9)

    def rows(self, i: int, choice: Choice) -> tuple[Singles, Singles]:
        """As `Scene.rows`; what a choice changes is the same in every world."""
        if not any(choice) and i not in self.silent:
            return self.level_dbuvm[i], self.level_1pct_dbuvm[i]
        change = self.kept.get((i, choice))
        if change is None:
            change = self.change_db(i, choice, self.place[: self.places_n])
            if len(self.kept) * change.nbytes < KEPT_BYTES:
                self.kept[i, choice] = change
        every = np.tile(change, self.worlds_n)
        return self.level_dbuvm[i] + every, self.level_1pct_dbuvm[i] + every

    def sample(self, places_n: int, *, seed: int) -> Scene:  # noqa: ARG002  as `Scene.sample`
        """It is one already."""
        return self


def in_worlds(scene: Scene, errors_db: list[Singles], off_us: list[Doubles], *, quantile: Part | None) -> WorldScene:
    """A scene in several worlds.

    Parameters
    ----------
    scene : Scene
    errors_db : list of ndarray, shape (S, M)
        What levels are off by, world by world. [dB]
    off_us : list of ndarray, shape (S,)
        What launches are off by. [us]
    quantile : float or None
        As `WorldScene.quantile`.
    """
    count = len(errors_db)
    off_db = np.concatenate(errors_db, axis=1)
    late_us = np.concatenate([np.broadcast_to(one[:, None], scene.travel_us.shape) for one in off_us], axis=1)
    return WorldScene(
        scene.sites, scene.unit, np.tile(scene.level_dbuvm, count) + off_db,
        np.tile(scene.level_1pct_dbuvm, count) + off_db, np.tile(scene.travel_us, count) + late_us,
        np.tile(scene.weight, count), np.tile(scene.place, count), scene.yard, scene.frequency_mhz, scene.change_db,
        scene.silent, scene.heard, {}, count, quantile,
    )  # fmt: skip
