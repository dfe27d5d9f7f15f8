"""Levels of all sites over the places that count, as they become with what is chosen at each site.

Losses and ray angles of a path stay whatever is chosen: a row of levels moves by what the antenna radiates otherwise
towards each place, which a function of the caller says. Everything else comes from `sfn.reception.quality`, the very
rule of the map.

| symbol | name | unit |
|---|---|---|
| S, M | sites, places that count | |
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sfn.reception.beside import Beside
from sfn.reception.classes import TOO_WEAK, WITH_MARGIN, is_served
from sfn.reception.quality import Yardstick, service_quality
from sfn.solve.objective import EVEN_RATIO, Objective
from sfn.solve.options import Choice, Key
from sfn.solve.packing import COUNTED_FROM_DB, COUNTED_TO_DB, fm_reach_db, packed
from sfn.solve.thinned import drawn_places
from sfn.systems.link_chain import noise_field_dbuvm

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]
Change = Callable[[int, Choice, Places], Singles]
# Levels at some places as receivers get them, and what stations with other programmes ask there.
Heard = Callable[[Singles, Singles, Places], tuple[Singles, Singles, Beside | None]]

NEGLIGIBLE_DB = 26.0  # OFDM, VSB: below what the strongest tolerates; as `packing.NEGLIGIBLE_RATIO`
SPARE_DB = 3.0
KEPT_BYTES = 64_000_000


@dataclass(frozen=True, slots=True)
class Scene:
    """S sites over M places.

    Parameters
    ----------
    sites : tuple of str
    unit : str
        "people" or "km2".
    level_dbuvm, level_1pct_dbuvm : ndarray of float32, shape (S, M)
        As planned, before the receiver's antenna; NaN: no signal. [dB(uV/m)]
    travel_us : ndarray, shape (S, M)
        [us]
    weight : ndarray, shape (M,)
        People or km2 that each place stands for.
    place : ndarray of int, shape (M,)
        Which of the caller's places each is: what `change_db` and `heard` are asked by.
    yard : Yardstick
    frequency_mhz : float
        [MHz]
    change_db : callable(site, choice, places)
        By how much a site's levels move there; NaN where it is not transmitting. [dB]
    silent : frozenset of int
        Sites not transmitting as planned: their levels are what they would be on air.
    heard : callable(levels, levels at 1 % of time, places), optional
        What the receiver's antenna makes of levels; none: they are heard as they are, and no other station is there.
    """

    sites: tuple[str, ...]
    unit: str
    level_dbuvm: Singles
    level_1pct_dbuvm: Singles
    travel_us: Doubles
    weight: Doubles
    place: Places
    yard: Yardstick
    frequency_mhz: float
    change_db: Change
    silent: frozenset[int] = frozenset()
    heard: Heard | None = None
    kept: dict[tuple[int, Choice], Singles] = field(default_factory=dict, compare=False, repr=False)
    """Changes that were worked out, as far as `KEPT_BYTES` go. [dB]"""

    @property
    def places_n(self) -> int:
        """How many places there are."""
        return int(self.weight.size)

    def summed(self, parts: Doubles, at: Places | slice) -> Doubles:  # noqa: ARG002  a scene of worlds asks
        """Totals of what some of the places add, as `key` takes them."""
        return np.asarray(parts.sum(axis=1))

    @property
    def even(self) -> float:
        """What totals are rounded to, so that equal ones are equal: a power of two, so that whole people stay whole."""
        return float(2.0 ** np.floor(np.log2(max(float(self.weight.sum()), 1e-12) * EVEN_RATIO)))

    def rows(self, i: int, choice: Choice) -> tuple[Singles, Singles]:
        """Levels of one site with a choice, at 50 % and 1 % of time, shape (M,). [dB(uV/m)]"""
        if not any(choice) and i not in self.silent:
            return self.level_dbuvm[i], self.level_1pct_dbuvm[i]
        change = self.kept.get((i, choice))
        if change is None:
            change = self.change_db(i, choice, self.place)
            if len(self.kept) * change.nbytes < KEPT_BYTES:
                self.kept[i, choice] = change
        return self.level_dbuvm[i] + change, self.level_1pct_dbuvm[i] + change

    def parts(self, level: Singles, rare: Singles, offsets_us: Doubles, at: Places | slice) -> Doubles:
        """What some of the places add to the totals, shape (3, places).

        Weight without service, weight below target, and weight times margin, counted from -20 to 10 dB; a place without
        a usable signal counts -20 dB, so that plans with other levels can be told apart. `level` and `rare` are of
        these places alone, before the receiver's antenna.
        """
        weight, other = self.weight[at], None
        if self.heard is not None:
            level, rare, other = self.heard(level, rare, self.place[at])
        quality = service_quality(
            level, self.travel_us[:, at] + offsets_us[:, None], self.yard, frequency_mhz=self.frequency_mhz,
            level_1pct_dbuvm=rare, sites=self.sites, other=other, workers=1,
        )  # fmt: skip
        classes = quality.quality_class
        known = ~np.isnan(classes)
        usable = known & (classes != TOO_WEAK)
        margin = np.where(usable, np.nan_to_num(quality.margin_db.astype(np.float64), nan=COUNTED_FROM_DB), -np.inf)
        return np.stack(
            [
                weight * ~(known & is_served(classes)),
                weight * ~(known & (classes == WITH_MARGIN)),
                weight * np.clip(margin, COUNTED_FROM_DB, COUNTED_TO_DB),
            ]
        )

    def key(self, totals: Doubles) -> Key:
        """Totals (3,) as fields of a `Score`, the smaller the better."""
        even = self.even
        margin = float(totals[2]) / max(float(self.weight.sum()), 1e-12)
        return float(round(totals[0] / even) * even), float(round(totals[1] / even) * even), -round(margin, 9)

    def matters(
        self, i: int, level: Singles, before: tuple[Singles, Singles], after: tuple[Singles, Singles]
    ) -> Places:
        """Places that one site's change can touch, on the safe side.

        Parameters
        ----------
        level : ndarray, shape (S, M)
            Of all sites as they stand; this one's row is not looked at. [dB(uV/m)]
        before, after : pairs of ndarray, shape (M,)
            The site's levels at 50 % and 1 % of time. [dB(uV/m)]
        """
        others = np.delete(level, i, axis=0)
        top = np.fmax.reduce(others, axis=0) if len(others) else np.full(level.shape[1], np.nan, np.float32)
        most = np.fmax.reduce(np.stack([*before, *after]))
        same = (before[0] == after[0]) | (np.isnan(before[0]) & np.isnan(after[0]))
        if self.yard.carried.kind == "fm":
            least = top - (fm_reach_db(self.yard, self.yard.tables(self.sites)) + SPARE_DB)
        else:
            noise = noise_field_dbuvm(self.yard.carried, frequency_mhz=self.frequency_mhz)
            needed = float(self.yard.carried.required_cn_db or 0.0)
            least = np.fmax(top - needed, noise) - (NEGLIGIBLE_DB + SPARE_DB)
        return np.flatnonzero(~same & ~(most < least))

    def objective(self, level: Singles, rare: Singles) -> Objective:
        """The objective of offsets with these levels; only differences of its totals mean anything."""
        other = None
        if self.heard is not None:
            level, rare, other = self.heard(level, rare, self.place)
        made = packed(
            level, rare, self.travel_us, self.yard, frequency_mhz=self.frequency_mhz, weight=self.weight,
            sites=self.sites, other=other,
        )  # fmt: skip
        return Objective(
            self.sites, self.unit, self.weight, self.yard, made, np.zeros(3), max(float(self.weight.sum()), 1e-12)
        )

    def sample(self, places_n: int, *, seed: int) -> "Scene":
        """The scene over about so many of its places, each counting for what it stands for; else all."""
        if places_n >= self.weight.size:
            return self
        chosen, weight = drawn_places(self.weight, places_n, seed=seed)
        return replace(
            self,
            level_dbuvm=np.ascontiguousarray(self.level_dbuvm[:, chosen]),
            level_1pct_dbuvm=np.ascontiguousarray(self.level_1pct_dbuvm[:, chosen]),
            travel_us=np.ascontiguousarray(self.travel_us[:, chosen]),
            weight=weight,
            place=self.place[chosen],
            kept={},
        )
