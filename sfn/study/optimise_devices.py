"""From offsets wished to settings made: several searches, the descent on devices, and which devices change."""

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.solve.descent import Told
from sfn.solve.devices import Launched, Settled, rounded, settle
from sfn.solve.large import LARGE_RATIO, SMALL_PLACES_N, round_s, search_large
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective, Score, score
from sfn.solve.search import Found, search
from sfn.study.optimise_lattice import every_setting
from sfn.timing import DelayTable, delay_table
from sfn.timing.device import finest_step

Doubles = NDArray[np.float64]

SEED_SHARES = (0.5, 0.15, 0.15)  # of the time, for searches that start apart; the rest goes on from the best
DEVICES_SHARE = 0.25  # of the time, on top, for the descent on what devices can make
LEAST_DEVICES_S = 2.0
FOUND_SHARE = 0.7  # of that, for the best; the rest for what each seed alone would have come to
NOW_SHARE = 0.3  # more, where nothing better than the offsets as they are was found
NO_BETTER = 1e-5  # people or km2: less is rounding
LIKELY_RATIO = 0.005  # seeds further apart than this of what is without service: more time is likely to help


Against = Literal[
    "what is set now", "what is set now where told, else the saved plan", "the saved plan", "the night before"
]
AGAINST: Mapping[frozenset[bool], Against] = {
    frozenset({True}): "what is set now",
    frozenset({True, False}): "what is set now where told, else the saved plan",
    frozenset({False}): "the saved plan",
}


@dataclass(frozen=True, slots=True)
class DeviceChange:
    """Whether a site's device gets another setting.

    Parameters
    ----------
    site : str
    changes : bool
        Against `against`.
    by_offsets : bool
        Because the new plan sets it otherwise than the saved one: what is counted by a limit on changes. Else it
        changes because it does not stand where the saved plan has it.
    against : str
        What the new setting was compared with.
    """

    site: str
    changes: bool
    by_offsets: bool
    against: Against


@dataclass(frozen=True, slots=True)
class SeedSpread:
    """How far searches that began with different seeds lie apart.

    Parameters
    ----------
    without_service : tuple of float
        What each leaves without service once devices have made of it what they can, the figure that the answer prints;
        one figure where every set of steps was tried. [people or km2]
    ended : tuple of str
        How each ended, as in `sfn.solve.search.Found`.
    more_time : str
        Whether more time is likely to help, in words.
    night : int
        Of which night's result, where a plan has several; 1 of a plan in one go.
    """

    without_service: tuple[float, ...]
    ended: tuple[str, ...]
    more_time: str
    night: int = 1

    @property
    def width(self) -> float:
        """From the best to the worst. [people or km2]"""
        return max(self.without_service) - min(self.without_service)


def searched(
    what: Objective,
    allowed: Limits,
    *,
    seed: int,
    budget_s: float,
    starts: Sequence[tuple[str, Doubles]],
    executor: Executor | None,
    progress: Told | None,
    cancelled: Callable[[], bool] | None,
) -> tuple[Found, tuple[Found, ...]]:
    """Searches that begin apart, then one that goes on from the best of them, within one budget.

    A network that is too large for that is searched on samples of its places first (`sfn.solve.large`).

    Parameters
    ----------
    what : Objective
    allowed : Limits
    seed : int
        Of the first; the others follow it.
    budget_s : float
        [s]
    starts : sequence of (name, offsets)
    executor, progress, cancelled
        As in `sfn.solve.search.search`.

    Returns
    -------
    found : Found
        The best of all.
    seeds : tuple of Found
        What each seed had come to before the best went on.
    """
    began, found = time.monotonic(), []
    around_s = round_s(what, allowed, executor=executor)
    if around_s > LARGE_RATIO * budget_s and what.places.weight.size > SMALL_PLACES_N:
        return search_large(
            what, allowed, round_s=around_s, seed=seed, budget_s=budget_s - (time.monotonic() - began), starts=starts,
            executor=executor, progress=progress, cancelled=cancelled,
        )  # fmt: skip
    for k, share in enumerate(SEED_SHARES):
        one = search(
            what, allowed, seed=seed + k, budget_s=share * budget_s, starts=starts,
            exhaustive=k == 0, executor=executor, progress=progress, cancelled=cancelled,
        )  # fmt: skip
        found.append(one)
        if one.ended in ("exhaustive", "cancelled") or not allowed.free.any():
            break
    best = min(found, key=lambda one: _key(one.score))
    left_s = budget_s - (time.monotonic() - began)
    last = best
    if best.ended == "time" and left_s > 0:
        last = search(
            what, allowed, seed=seed + len(SEED_SHARES), budget_s=left_s, starts=[("the best so far", best.offsets_us)],
            exhaustive=False, executor=executor, progress=progress, cancelled=cancelled,
        )  # fmt: skip
        last = last if _key(last.score) <= _key(best.score) else best
    tried = sum(one.tried for one in found) + (0 if last is best else last.tried)
    whole = replace(
        last, before=found[0].before, tried=tried, seconds_s=time.monotonic() - began, starts=found[0].starts
    )
    return whole, tuple(found)


def spread_of(
    seeds: Sequence[Found], made: Sequence[float], *, answer: float, every: bool = False, on_devices: bool = True
) -> SeedSpread:
    """How far seeds lie apart in the figure that the answer prints, and what more time would bring, as far as it tells.

    Parameters
    ----------
    seeds : sequence of Found
    made : sequence of float
        What each leaves without service on devices. [people or km2]
    answer : float
        What the answer leaves. [people or km2]
    every : bool
        All settings of the devices within the limits were looked at.
    on_devices : bool
        Whether any step of a device fits the limits.
    """
    if every and on_devices:
        return SeedSpread(
            (min(min(made), answer),), ("exhaustive",), "no: every setting of the devices within the limits was tried"
        )
    without, found = tuple(made), seeds
    gained = min(without) - answer
    ended = tuple(one.ended for one in found)
    scale = max(min(without), 1e-9)
    if not on_devices:
        said = "no: no longer search finds what the devices cannot make"
    elif found[-1].ended == "exhaustive":
        said = "unlikely: every set of steps of the search was tried, if not every setting of the devices"
    elif gained > LIKELY_RATIO * scale or max(without) - min(without) > LIKELY_RATIO * scale:
        said = "likely: seeds lie apart, or the last part of the time still brought something"
    elif "time" in ended:
        said = f"perhaps: the time ended {ended.count('time')} of the {len(ended)} searches from seeds, but they agree"
    else:
        said = "unlikely: every search settled by itself, and they agree"
    return SeedSpread(without, ended, said)


def _key(score: Score) -> tuple[float, ...]:
    """A score for comparison."""
    return rounded((score.without_service, score.below_target, score.minus_mean_margin_db))


def with_common_held(network: Network, table: DelayTable) -> Network:
    """The network with the common delay that it has now, whatever its offsets: only sites that move change settings."""
    if network.common_delay.value_us is not None:
        return network
    held = {"mode": "fixed", "value_us": table.common_delay_us, "margin_us": None}
    return network.model_copy(update={"common_delay": network.common_delay.model_copy(update=held)})


def with_offsets(network: Network, offsets_us: Mapping[str, float]) -> Network:
    """The network with other offsets."""
    sites = tuple(
        site.model_copy(update={"offset_us": offsets_us.get(site.id, site.offset_us)}) for site in network.sites
    )
    return network.model_copy(update={"sites": sites})


def launched_by(network: Network, placed: Mapping[str, Located], sites: Sequence[str]) -> Launched:
    """What a network's devices make of offsets, by its delay table; None where one would be far from its wish.

    A site that already misses its wish as it is may go on doing so.
    """
    missed = _missed(delay_table(network, placed=placed))

    def launched(offsets_us: Doubles) -> Doubles | None:
        """Launches of these offsets."""
        made = with_offsets(network, dict(zip(sites, offsets_us.tolist(), strict=True)))
        table = delay_table(made, placed=placed)
        if _missed(table) - missed:
            return None
        launches = table.launches()
        return np.array([launches[site] for site in sites])

    return launched


def _missed(table: DelayTable) -> frozenset[tuple[str, str]]:
    """Sites and routes on air whose setting is further from the wish than a step of the device."""
    return frozenset(
        (row.site_id, row.route)
        for row in table.rows
        if row.on_air and row.fields and abs(row.rounding_us) > row.step_us * 0.51 + 1e-6
    )


def settled_on_devices(
    network: Network, placed: Mapping[str, Located], what: Objective, allowed: Limits, found: Found, *,
    seeds: Sequence[Found], budget_s: float, seed: int, executor: Executor | None,
    cancelled: Callable[[], bool] | None,
) -> tuple[Settled | None, tuple[float, ...]]:  # fmt: skip
    """The descent on what devices can make, from what was found, then from each seed's own end; the best of all ends.

    Beside it what each seed alone would have come to there, never worse than the offsets as they are. Where all
    settings within the limits can be looked at, that is done instead, and there is one figure.
    """
    began_s, whole_s = time.monotonic(), max(DEVICES_SHARE * budget_s, LEAST_DEVICES_S)
    launched = launched_by(network, placed, what.sites)
    complete = every_setting(
        network, placed, what, allowed, launched=launched, until_s=began_s + whole_s, executor=executor,
        cancelled=cancelled,
    )  # fmt: skip
    if complete is not None:
        return complete, (complete.key[0],)
    began_s = time.monotonic()
    steps = np.array([float(finest_step(site.delay_fields)) for site in network.sites])
    known: list[tuple[Doubles, Settled | None]] = []

    def end(offsets: Doubles, share: float) -> Settled | None:
        """Where a descent from there ends; looked at once."""
        for at, was in known:
            if np.allclose(at, offsets):
                return was
        made = settle(
            what, allowed, offsets, launched=launched, steps_us=steps, until_s=began_s + share * whole_s, seed=seed,
            executor=executor, cancelled=cancelled,
        )  # fmt: skip
        known.append((offsets, made))
        return made

    asis = launched(allowed.now_us)
    present = np.inf if asis is None else score(what, asis, executor=executor).without_service
    end(found.offsets_us, FOUND_SHARE)
    own = [
        end(one.offsets_us, FOUND_SHARE + (1 - FOUND_SHARE) * k / len(seeds)) for k, one in enumerate(seeds, start=1)
    ]
    best = min(
        (one for _, one in known if one is not None), key=lambda one: (rounded(one.key), not one.proven), default=None
    )
    if (
        best is None or best.key[0] > present - NO_BETTER
    ):  # what stands may be the answer: then it is what must be proven
        end(allowed.now_us, 1 + NOW_SHARE)
        best = min(
            (one for _, one in known if one is not None),
            key=lambda one: (rounded(one.key), not one.proven),
            default=None,
        )
    return best, tuple(min(present, np.inf if one is None else one.key[0]) for one in own)


def any_step(network: Network, allowed: Limits) -> bool:
    """Whether the device of any site that may move can make a step within its limits; true where none may move."""
    steps = np.array([float(finest_step(site.delay_fields)) for site in network.sites])
    room = np.maximum(allowed.high_us - allowed.now_us, allowed.now_us - allowed.low_us)
    return not allowed.free.any() or bool((allowed.free & (steps > 0) & (room >= steps)).any())


def devices_told(before: DelayTable, after: DelayTable, *, after_night: bool) -> tuple[DeviceChange, ...]:
    """Of every site on air with a delay field: whether a device gets another setting, and against what that is said.

    Parameters
    ----------
    before, after : DelayTable
        Of the saved plan, with what is set now as far as it is told, and of the new one.
    after_night : bool
        The plan before is what the night before set: it stands.
    """
    was = {(row.site_id, row.route): row.fields for row in before.rows}
    moved = changed_sites(before, after)
    found: dict[str, tuple[set[bool], bool]] = {}
    for row in after.rows:
        if not row.on_air or not row.fields:
            continue
        old = {f.name: (f.before, f.value) for f in was.get((row.site_id, row.route), ())}
        pairs = [(f.value, *old.get(f.name, (None, None))) for f in row.fields]
        told = {not after_night and present is not None for _, present, _ in pairs}
        changes = any(
            value != (present if present is not None and not after_night else planned)
            for value, present, planned in pairs
        )
        known, changed = found.get(row.site_id, (set(), False))
        found[row.site_id] = (known | told, changed or changes)
    return tuple(
        DeviceChange(
            site, changes, site in moved,
            "the night before" if after_night else AGAINST[frozenset(told)],
        )
        for site, (told, changes) in found.items()
    )  # fmt: skip


def changed_says(devices: Sequence[DeviceChange], names: Mapping[str, str]) -> tuple[str, ...]:
    """Which devices get another setting, and against what that is said, a sentence a kind of comparison.

    Parameters
    ----------
    devices : sequence of DeviceChange
    names : mapping of site id to name
    """
    kinds = dict.fromkeys(one.against for one in devices)
    lines = []
    for kind in kinds:
        changing = [names[one.site] for one in devices if one.against == kind and one.changes]
        of = (
            ""
            if len(kinds) == 1
            else f" (of {', '.join(format(names[one.site]) for one in devices if one.against == kind)})"
        )
        lines.append(f"devices that change, against {kind}{of}: {', '.join(changing) or 'none'}")
    due = [names[one.site] for one in devices if one.changes and not one.by_offsets]
    if due:
        stand = "stands" if len(due) == 1 else "stand"
        lines.append(
            f"of these {', '.join(due)} {stand} elsewhere than the saved plan already, and no limit counts them"
        )
    here = [names[one.site] for one in devices if one.by_offsets and not one.changes]
    if here:
        lines.append(f"set already as this plan has it: {', '.join(here)}")
    return tuple(lines) or ("devices that change: none",)


def changed_sites(before: DelayTable, after: DelayTable) -> tuple[str, ...]:
    """Sites of which the new plan sets a device otherwise than the plan before, on any route.

    Parameters
    ----------
    before, after : DelayTable
        Of the saved plan and of the new one.
    """
    was = {(row.site_id, row.route): {f.name: f.value for f in row.fields} for row in before.rows}
    return tuple(
        dict.fromkeys(
            row.site_id
            for row in after.rows
            if row.on_air and {f.name: f.value for f in row.fields} != was.get((row.site_id, row.route))
        )
    )
