"""What must agree between FM transmitters besides the delay, as far as their lock sheets say it.

Where pre-emphasis, deviation, pilot or polarity differ the waveforms do, and no delay brings them together. Words
(polarity, what the carrier is locked to) are compared as typed: another wording is a doubt; a polarity is a fault where
the two wordings say which way it goes and contradict each other.
"""

import re
from collections.abc import Iterator
from itertools import combinations

from sfn.errors import Problem, Severity, Touch
from sfn.plan import Network, Site
from sfn.systems.service import Service
from sfn.timing.tolerated import tolerated_error
from sfn.units import PILOT_DEG_PER_US

# Deviations match within this where no lock sheet says (common practice).
USUAL_MATCH_PCT = 1.0
_WORDS = (("composite_polarity", "composite polarity"), ("carrier_reference", "carrier reference"))
# What turns a polarity round, and what leaves it. "Not inverted" is read before "inverted".
_NOT_TURNED = re.compile(r"\b(?:not|non|un)[ -]?(?:inverted|inverting|reversed)\b")
_STRAIGHT = re.compile(r"\b(?:positive|pos|normal|raises?|raising|increases?|rises?|up|higher)\b|\+")
_TURNED = re.compile(
    r"\b(?:negative|neg|inverted|inverting|inverse|reversed|opposite|lowers?|lowering|reduces?|decreases?|falls?|"
    r"drops?|down)\b|[\u2212]|(?:^|\s)-(?=\s|$|ve)"
)
_NEEDED = (("carrier_reference", "carrier reference"), ("deviation_khz", "peak deviation"))


def lock_problems(network: Network, service: Service) -> tuple[Problem, ...]:
    """Lock sheets that contradict each other, that are missing beside others, or that nobody wrote.

    Parameters
    ----------
    network : Network
    service : Service
        Only FM has lock sheets.
    """
    places = [(n, site) for n, site in enumerate(network.sites) if site.on_air]
    if service.kind != "fm" or len(places) < 2:
        return ()
    if all(site.lock is None for _, site in places):
        touches = tuple(Touch(site.id) for _, site in places)
        what = "no site states its lock sheet: carrier, pilot, deviation and polarity are not known to agree"
        expected = "lock sheets, proven before delays are worked on"
        return (
            *_undated(network, [site for _, site in places]),
            Problem(
                "sites", what, expected, "warning", code="lock-not-stated", touches=touches, stages=(), fields=("lock",)
            ),
        )
    unproven = [p for n, site in places for p in _unproven(n, site)]
    differing = [p for (_, a), (n, b) in combinations(places, 2) for p in _differing(network, a, n, b)]
    return (*_undated(network, [site for _, site in places]), *unproven, *differing)


def _undated(network: Network, sites: list[Site]) -> Iterator[Problem]:
    """Sites of which no proof of lock stands on the timeline, where one is kept."""
    proofs = None if network.reported is None else network.reported.proofs
    missing = [] if proofs is None else [site for site in sites if site.id not in proofs]
    if missing:
        names = ", ".join(f"{site.name}" for site in missing)
        what = f"no dated proof of lock (carrier, pilot, deviation, polarity) stands on the timeline of {names}"
        yield Problem(
            "sites", what, "lock checked and entered there before delays are worked on", "warning",
            code="lock-proof-missing", touches=tuple(Touch(site.id) for site in missing), stages=(), fields=("lock",),
        )  # fmt: skip


def _unproven(index: int, site: Site) -> Iterator[Problem]:
    """A site that says less than what is needed, where others say it."""
    lacking = [(key, name) for key, name in _NEEDED if site.lock is None or getattr(site.lock, key) is None]
    missing = [name for _, name in lacking]
    if missing:
        what = f"site {site.name}: its lock sheet does not state {' and '.join(missing)}, so lock is not proven"
        expected = "what the exciter shows, as at the other sites"
        yield Problem(
            f"sites[{index}].lock",
            what,
            expected,
            "warning",
            code="lock-unproven",
            touches=(Touch(site.id),),
            stages=(),
            fields=("lock",),
            said={"lacking_keys": " ".join(key for key, _ in lacking)},
        )


def _differing(network: Network, a: Site, index: int, b: Site) -> Iterator[Problem]:
    """Where two lock sheets contradict each other."""
    if a.lock is None or b.lock is None:
        return
    touches = (Touch(a.id), Touch(b.id))

    match_pct = min(a.lock.deviation_match_pct or USUAL_MATCH_PCT, b.lock.deviation_match_pct or USUAL_MATCH_PCT)

    def differ(key: str, what: str, expected: str, code: str = "lock-differs") -> Problem:
        """One line that differs."""
        severity: Severity = "error" if code == "lock-differs" else "warning"
        said = f"sites {a.name} and {b.name}: {what}"
        values = {key: getattr(b.lock, key), f"other_{key}": getattr(a.lock, key)}
        where = f"sites[{index}].lock.{key}"
        return Problem(
            where,
            said,
            expected,
            severity,
            code=code,
            touches=touches,
            stages=(),
            fields=(key,),
            values=values,
            said={"match_pct": match_pct, "one": getattr(a.lock, key), "other": getattr(b.lock, key)},
        )

    one, two = a.lock.pre_emphasis_us, b.lock.pre_emphasis_us
    if one is not None and two is not None and one != two:
        yield differ("pre_emphasis_us", f"pre-emphasis {one} us and {two} us", "one pre-emphasis for all")
    khz, other_khz = a.lock.deviation_khz, b.lock.deviation_khz
    if khz is not None and other_khz is not None and abs(khz - other_khz) > match_pct / 100 * max(khz, other_khz):
        what = f"peak deviation {khz:g} kHz and {other_khz:g} kHz"
        yield differ("deviation_khz", what, f"deviations that match within {match_pct:g} %")
    turn, other_turn = a.lock.pilot_phase_deg, b.lock.pilot_phase_deg
    if turn is not None and other_turn is not None:
        apart_deg = abs((turn - other_turn + 180.0) % 360.0 - 180.0)
        if apart_deg > tolerated_error(network) * PILOT_DEG_PER_US:
            what = f"pilot phase {turn:g} and {other_turn:g} degrees"
            yield differ("pilot_phase_deg", what, "one pilot phase for all")
    for key, name in _WORDS:
        said, other = getattr(a.lock, key), getattr(b.lock, key)
        if key == "composite_polarity" and said is not None and other is not None:
            signs = polarity(said), polarity(other)
            if 0 not in signs and signs[0] != signs[1]:
                yield differ(key, f"{name} {said!r} and {other!r} contradict each other", "one polarity for all")
                continue
        if said is not None and other is not None and said.strip().casefold() != other.strip().casefold():
            yield differ(
                key, f"{name} is said to be {said!r} and {other!r}", "one for all, in the same words", "lock-unproven"
            )


def polarity(words: str) -> int:
    """Which way a composite signal turns the frequency, as far as its wording says: 1, -1, or 0 where it does not.

    Examples
    --------
    >>> [polarity(words) for words in ("positive", "inverted", "not inverted", "as the studio has it")]
    [1, -1, 1, 0]
    >>> polarity("positive voltage lowers the frequency"), polarity("negative voltage lowers the frequency")
    (-1, 1)
    """
    whole, *parts = [_turn(text) for text in (words, *re.split(r"[,;/]|\b(?:or|and|but|except)\b", words.casefold()))]
    said = {turn for turn in parts if turn}
    # Several statements of which some go the other way: nobody can tell which holds.
    return whole if said <= {whole} else 0


def _turn(words: str) -> int:
    """The direction of one statement: each word that turns it round counts."""
    rest, kept = _NOT_TURNED.subn(" ", words.casefold())
    turns = len(_TURNED.findall(rest))
    if not turns and not kept and not _STRAIGHT.search(rest):
        return 0
    return -1 if turns % 2 else 1
