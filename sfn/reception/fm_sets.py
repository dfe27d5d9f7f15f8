"""Whose FM sets listen, how they blend, from which share a place is served, and what the lock sheets let differ."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations
from math import ceil, hypot, log2

from sfn.plan import Network
from sfn.plan.document import LockSheet
from sfn.systems.fm import IMPLEMENTATION_MARGIN_DB
from sfn.systems.fm_listeners import LEAST_CARRIER_HZ, SERVED_TIME_RATIO, Blend, Errors

ROOF_FROM_M = 5.0  # a receiving antenna this high belongs to a set that stands still
MOST_ERRORS_N = 8  # more kinds of errors are rounded up: each has tables of its own


@dataclass(frozen=True, slots=True)
class FmSets:
    """Who listens to an FM network.

    `errors` are by the ids of two sites, in the order of the document; pairs that agree are left out. `of_time`: shares
    are of time, else of places; `margin_db` is what a real receiver is worse by, in stereo and in mono. `rounded` says
    that errors were rounded up to a step of a half octave.
    """

    blend: Blend = field(default_factory=Blend)
    stereo: bool = True
    margin_db: tuple[float, float] = (IMPLEMENTATION_MARGIN_DB["stereo"], IMPLEMENTATION_MARGIN_DB["mono"])
    errors: Mapping[tuple[str, str], Errors] = field(default_factory=dict)
    rounded: bool = False

    @property
    def beats(self) -> bool:
        """Whether carriers differ by so much that every phase passes every listener."""
        return max((each.carrier_hz for each in self.errors.values()), default=0.0) >= LEAST_CARRIER_HZ

    @property
    def of_time(self) -> bool:
        """Whether shares are of time: cars cross the pattern, or it crosses the sets."""
        return self.blend.listeners == "car" or self.beats

    @property
    def served_ratio(self) -> float:
        """From which share on a place is served."""
        return SERVED_TIME_RATIO if self.of_time else self.blend.served_ratio

    def errors_of(self, sites: Sequence[str]) -> dict[tuple[int, int], Errors]:
        """The errors by the rows of a list of sites, the smaller row first."""
        row = {site: i for i, site in enumerate(sites)}
        found = {}
        for (a, b), errors in self.errors.items():
            if a in row and b in row:
                found[min(row[a], row[b]), max(row[a], row[b])] = errors
        return found


def fm_sets(network: Network, *, stereo: bool) -> FmSets:
    """Who listens to a network.

    Parameters
    ----------
    network : Network
    stereo : bool
        Whether its programme is transmitted in stereo.
    """
    own = network.thresholds.implementation_margin_db
    usual = (IMPLEMENTATION_MARGIN_DB["stereo"], IMPLEMENTATION_MARGIN_DB["mono"])
    errors = errors_between(network)
    rounded = len(set(errors.values())) > MOST_ERRORS_N
    if rounded:
        errors = {pair: _rounded(each) for pair, each in errors.items()}
    return FmSets(blend_of(network), stereo, usual if own is None else (own, own), errors, rounded)


def blend_of(network: Network) -> Blend:
    """Whose sets listen and how they blend: as the document says, by the receiving antenna otherwise."""
    receiver, own = network.receiver, network.receiver.blend
    if receiver.antenna == "roof" or (receiver.height_m >= ROOF_FROM_M and receiver.indoors is None):
        usual = "hi-fi"
    else:
        usual = "portable" if receiver.indoors is not None else "car"
    if own is None:
        return Blend(usual)
    share = None if own.blending_pct is None else own.blending_pct / 100.0
    return Blend(own.listeners or usual, own.full_db, own.none_db, own.down_s, own.up_s, blending_ratio=share)


def errors_between(network: Network) -> dict[tuple[str, str], Errors]:
    """What each two sites may differ by besides the delay, by their ids; pairs that agree are left out.

    Deviations differ by what the lock sheets say, and by what each may be off (root of the sum of squares); pilots by
    the difference of their phases; carriers by the root of the sum of squares of their errors.
    """
    locks = list(dict.fromkeys(site.lock for site in network.sites))
    kind = {lock: n for n, lock in enumerate(locks)}
    between = cache(lambda n, m: _between(locks[n], locks[m]))  # most sites say the same of their lock
    pairs = combinations([(site.id, kind[site.lock]) for site in network.sites], 2)
    found = {(a, b): between(n, m) for (a, n), (b, m) in pairs}
    return {pair: errors for pair, errors in found.items() if errors != Errors()}


def _between(a: LockSheet | None, b: LockSheet | None) -> Errors:
    """What two lock sheets let differ."""
    a, b = a or LockSheet(), b or LockSheet()
    apart = a.deviation_khz / b.deviation_khz - 1.0 if a.deviation_khz and b.deviation_khz else 0.0
    match = hypot(a.deviation_match_pct or 0.0, b.deviation_match_pct or 0.0) / 100.0
    pilot = 0.0
    if a.pilot_phase_deg is not None and b.pilot_phase_deg is not None:
        pilot = abs((a.pilot_phase_deg - b.pilot_phase_deg + 180.0) % 360.0 - 180.0)
    carrier = hypot(a.carrier_error_hz or 0.0, b.carrier_error_hz or 0.0)
    return Errors(round(hypot(apart, match), 6), round(pilot, 3), round(carrier, 3))


def _rounded(errors: Errors) -> Errors:
    """Each figure up to the next half octave; what is negligible to the least that matters."""

    def up(value: float, least: float) -> float:
        """One figure."""
        return 0.0 if value <= 0 else least * 2.0 ** (max(ceil(2 * log2(value / least) - 1e-9), 0) / 2)

    return Errors(up(errors.deviation_ratio, 0.001), up(errors.pilot_deg, 0.5), up(errors.carrier_hz, 0.05))
