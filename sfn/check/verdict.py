"""One verdict a site and route: fit to issue, fit with a named sign-off, or withheld; and whose doubt decides it.

A doubt travels: from a parent to the relays it feeds, from the slowest site to all that wait for it, from one site of
a release to the others. What one kind of doubt does stands in `sfn.check.doubts`.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from sfn.check.doubts import Consequence, consequence_of
from sfn.check.uncertain import FIRST_TRY, first_tries, uncertain
from sfn.errors import PlanError, Problem, Touch
from sfn.plan import Network, Site, SiteName
from sfn.timing import DelayRow, DelayTable
from sfn.timing.failover import shares_fields
from sfn.timing.table import feed_order
from sfn.timing.tolerated import tolerated_error

State = Literal["fit", "sign-off", "withheld"]
MAIN = "main"
# Doubts about the launch of a site, to be signed for: relays that it feeds launch as much earlier or later.
MOVES_LAUNCH = frozenset(
    (
        "buffer-not-proven", "figure-outdated", "position-axis-order", "position-coarse", "position-datum",
        "position-datum-differs", "position-feet", "position-hemisphere", "position-kilometre-square",
        "position-mistyped", "position-outside-area", "position-shared", "position-slip", "stamp-plane-contradicts",
        "stamp-plane-not-covered", "stream-plan-adapts", "stream-plan-cover-stale", "stream-plan-doubtful",
        "stream-plan-other-kind", "stream-plan-tolerance-stale",
    )
)  # fmt: skip
# What a doubt is called at the sites that it reaches from another.
PASSED_ON = ("parent-withheld", "slowest-withheld", "release-withheld")


@dataclass(frozen=True, slots=True)
class Reason:
    """One doubt as it reaches a site.

    `whose` is the id of the site whose doubt it is: the site's own, its parent's, or one of the same release; empty
    where it is the whole document's. `problem` says it in words.
    """

    code: str
    whose: str
    problem: Problem
    consequence: Consequence


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a technician may go by what a site's sheet says of one route."""

    site: str
    route: str
    state: State
    reasons: tuple[Reason, ...]
    """What decides, the gravest first; remarks last."""
    release: tuple[str, ...]
    """Ids of the sites that are set together with this one; empty where this one changes nothing."""

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of what withholds or wants a sign-off, each once."""
        return tuple(dict.fromkeys(r.code for r in self.reasons if r.consequence != "remark"))

    def because(self, consequence: Consequence) -> tuple[Reason, ...]:
        """The reasons of one weight."""
        return tuple(r for r in self.reasons if r.consequence == consequence)

    @property
    def reading_order(self) -> bool:
        """Whether the site is to be read, not set: its present value is not known."""
        return any(r.code == "present-value-unknown" and r.whose == self.site for r in self.reasons)

    @property
    def commissioning(self) -> bool:
        """Whether the setting is a first try: set, measure, correct."""
        return any(r.code in FIRST_TRY and r.problem.touching(self.site, self.route) for r in self.reasons)


def verdicts(network: Network, problems: Iterable[Problem], table: DelayTable) -> dict[tuple[str, str], Verdict]:
    """The verdict of every site and route.

    Parameters
    ----------
    network : Network
    problems : iterable of Problem
        All that is wrong with the network, from the one check.
    table : DelayTable
        Of the same network. Sites without a row cannot be placed, and are withheld.

    Returns
    -------
    verdicts : dict of (site id, route) to Verdict
        Every chain of every site.

    Notes
    -----
    A *release* is the sites that transmit and whose main route is set to something else than now, or of which nobody
    knows what it adds now (a value that was not read, a sign that is not known): none of them goes out while one is
    withheld, since moving half a network is worse than moving none.
    Where the common delay is automatic, a withheld slowest site withholds all: they wait for a time that may be wrong.
    """
    tolerated_us = _tolerated(network)
    problems = tuple(problems)
    found = (
        *problems,
        *uncertain(network, table, tolerated_us),
        *_unplaced(network, table, problems),
        *_provisional(network, table),
    )
    everyone = tuple(Touch(site.id) for site in network.sites)
    held = {(s.id, c.route): _own(s, c.route, found, tolerated_us, everyone) for s in network.sites for c in s.chains}
    _from_slowest(network, table, held)
    _from_parents(network, held)
    release = release_of(network, table)
    _from_document(release, found, held, tolerated_us)
    _from_release(network, release, held)
    _from_parents(network, held)
    _doubts_of_parents(network, held)
    _between_routes(network, held)
    return {
        (site, route): Verdict(site, route, _state(reasons), _ranked(reasons), release if site in release else ())
        for (site, route), reasons in held.items()
    }


def _names(network: Network) -> dict[str, str]:
    """What each site is called; one that shares its name with another bears its id too."""
    count = Counter(site.name for site in network.sites)
    return {s.id: s.name if count[s.name] == 1 else SiteName(f"{s.name!s} ({s.id})") for s in network.sites}


def _tolerated(network: Network) -> float:
    """The tolerated error; none where the service is not known, which withholds every sheet. [us]"""
    try:
        return tolerated_error(network)
    except PlanError:
        return 0.0


def release_of(network: Network, table: DelayTable) -> tuple[str, ...]:
    """Ids of the sites that are set together, in document order."""
    rows = {row.site_id: row for row in table.rows if row.route == MAIN}
    tolerated_us = _tolerated(network)
    tries = first_tries(network, table, tolerated_us)

    def moves(site: Site) -> bool:
        """Whether a site is set anew; of one without a row nobody knows."""
        row = rows.get(site.id)
        return row is None or _moves(site, row, tolerated_us, first_try=site.id in tries)

    return tuple(site.id for site in network.sites if site.on_air and moves(site))


def _moves(site: Site, row: DelayRow, tolerated_us: float, *, first_try: bool) -> bool:
    """Whether any field is to be set to something else than now, or nobody knows what it is set to.

    A first try is split over the fields in its own way: there the total decides. A site that cannot be set as near as
    is tolerated wants to move, even where its limit is what it is set to now; and one of which nobody knows what it
    adds now (a field of unknown sign) may have to, even where its value stays.
    """
    if abs(row.rounding_us) > tolerated_us or row.now_us is None:
        return True
    if first_try and not shares_fields(site) and row.now_us is not None and row.now_us == row.set_us:
        return False
    chain = next(chain for chain in site.chains if chain.route == row.route)
    now = {field.name: (chain.set or {}).get(field.name, field.set) for field in site.delay_fields}
    return any(now[made.name] is None or made.value != now[made.name] for made in row.fields)


_Held = dict[tuple[str, str], list[Reason]]


def _own(
    site: Site, route: str, problems: Iterable[Problem], tolerated_us: float, everyone: tuple[Touch, ...]
) -> list[Reason]:
    """What touches a site's route itself, or the whole document, which touches every site."""
    reasons = []
    for problem in problems:
        consequence = consequence_of(problem, tolerated_us=tolerated_us)
        if problem.touching(site.id, route):
            reasons.append(Reason(problem.code, site.id, problem, consequence))
        elif not problem.touches and consequence == "withheld":
            reasons.append(Reason(problem.code, "", replace(problem, touches=everyone), consequence))
    return reasons


def _unplaced(network: Network, table: DelayTable, problems: Iterable[Problem]) -> Iterable[Problem]:
    """Sites that have no row: said here unless the check said why."""
    there = {row.site_id for row in table.rows}
    said = {site for problem in problems if problem.severity == "error" for site in problem.sites}
    for n, site in enumerate(network.sites):
        if site.id not in there and site.id not in said:
            yield Problem(
                f"sites[{n}]",
                f"site {site.name}: has no delay that can be worked out",
                "a position and units that can be read",
                code="position-unreadable",
                touches=(Touch(site.id),),
            )


def _provisional(network: Network, table: DelayTable) -> Iterable[Problem]:
    """While a site cannot be worked out, the automatic common delay of the others may still move."""
    there = {row.site_id for row in table.rows}
    missing = [s for s in network.sites if s.id not in there and s.on_air and s.fed_off_air_from is None]
    if network.common_delay.value_us is not None or not missing:
        return
    names = ", ".join(f"{site.name}" for site in missing)
    for n, site in enumerate(network.sites):
        if site.id in there:
            yield Problem(
                f"sites[{n}]",
                f"site {site.name}: provisional, the common delay may still move for {names}",
                "sites that can all be worked out, or a fixed common delay",
                "warning",
                code="common-delay-provisional",
                touches=(Touch(site.id),),
                said={"missing_sites": "\n".join(one.id for one in missing)},
            )


def _withheld(reasons: list[Reason], *, apart: str | None = None) -> Reason | None:
    """What withholds, the first that does; a site's own doubt does not come back to it by way of its parent."""
    return next((r for r in reasons if r.consequence == "withheld" and r.whose != apart), None)


def _passed_on(
    held: _Held, to: Touch, cause: Reason, code: str, words: str, names: Mapping[str, str], *, by: Touch
) -> None:
    """Add another site's withholding doubt to a site's reasons: whose it is stays with it, and it is told once.

    What is told is the doubt itself, not what became of it at sites between; it touches the site that it reaches, too.
    `by` is the site, and its route, from which it comes.
    """
    own = held[to.site, to.route or MAIN]
    theirs = _doubt_itself(held, cause).problem
    told = any(reason.whose == cause.whose and reason.consequence == "withheld" for reason in own)
    what = f"{words}; {names.get(cause.whose, 'the document')} is withheld" + (
        " (see above)" if told else f": {theirs.what}"
    )
    touches = theirs.touches if theirs.touching(to.site, to.route) else (*theirs.touches, to)
    expected = "what is said there corrected" if told else theirs.expected
    said: dict[str, float | str | Problem | None] = {
        "own_site": to.site, "by_site": by.site, "by_route": by.route, "held_site": cause.whose or None,
        "told_above": "yes" if told else None, "cause": theirs, "cause_wanted": theirs,
    }  # fmt: skip
    passed = replace(theirs, what=what, expected=expected, severity="error", code=code, touches=touches, said=said)
    own.append(Reason(code, cause.whose, passed, "withheld"))


def _doubt_itself(held: _Held, cause: Reason) -> Reason:
    """What withholds the site whose doubt it is, from which all the rest follows."""
    there = (reason for (site, _), reasons in held.items() if site == cause.whose for reason in reasons)
    sources = (r for r in there if r.consequence == "withheld" and r.whose == cause.whose and r.code not in PASSED_ON)
    return cause if cause.code not in PASSED_ON else next(sources, cause)


def _of_latency(reason: Reason) -> bool:
    """Whether a doubt may be one of the latency: not knowing what to go back to is not, nor signals that differ."""
    return reason.code not in ("present-value-unknown", "waveform-differs", "lock-differs")


def _from_slowest(network: Network, table: DelayTable, held: _Held) -> None:
    """All wait for the slowest site: where its latency is in doubt, the automatic common delay is."""
    if network.common_delay.value_us is not None:
        return
    names = _names(network)
    slowest, route = table.forced_by
    cause = next((r for r in held.get((slowest, route), []) if r.consequence == "withheld" and _of_latency(r)), None)
    if cause is None:
        return
    words = f"the common delay waits for {names[slowest]} ({route})"
    for entry in held:
        # what touches this route itself says it already
        if entry != (slowest, route) and not any(reason.problem == cause.problem for reason in held[entry]):
            _passed_on(held, Touch(*entry), cause, "slowest-withheld", words, names, by=Touch(slowest, route))


def _from_parents(network: Network, held: _Held) -> None:
    """A relay stands and falls with what feeds it."""
    names = _names(network)
    for site in feed_order(network):
        parent = site.fed_off_air_from
        if parent is None or (parent, MAIN) not in held:
            continue
        for chain in site.chains:
            own, cause = held[site.id, chain.route], _withheld(held[parent, MAIN], apart=site.id)
            if cause is not None and not any(r.code == "parent-withheld" for r in own):
                through = (
                    "" if cause.whose == parent else f", which stands and falls with {names.get(cause.whose, 'it')}"
                )
                words = f"site {names[site.id]} is fed off air from {names[parent]}{through}"
                to = Touch(site.id, chain.route)
                _passed_on(held, to, cause, "parent-withheld", words, names, by=Touch(parent))


def _doubts_of_parents(network: Network, held: _Held) -> None:
    """What may move a parent's launch moves those of its relays alike, and is signed for there too."""
    names = _names(network)
    for site in feed_order(network):
        parent = site.fed_off_air_from
        if parent is None or (parent, MAIN) not in held:
            continue
        theirs = [r for r in held[parent, MAIN] if r.consequence == "sign-off" and r.code in MOVES_LAUNCH]
        for chain in site.chains:
            own = held[site.id, chain.route]
            for reason in theirs:
                source = reason.problem
                if source.touching(site.id, chain.route) or any(
                    r.code == reason.code and r.whose == reason.whose for r in own
                ):
                    continue
                what = f"site {names[site.id]} is fed off air from {names[parent]}: {source.what}"
                touches = (*source.touches, Touch(site.id, chain.route))
                said = {**source.said, "fed_site": site.id, "parent_site": parent, "itself": source}
                passed = replace(source, what=what, touches=touches, said=said)
                own.append(Reason(reason.code, reason.whose, passed, "sign-off"))


def _from_document(release: tuple[str, ...], found: Iterable[Problem], held: _Held, tolerated_us: float) -> None:
    """What is to be signed for of the whole document is signed for at every site that is set anew."""
    for problem in found:
        if release and not problem.touches and consequence_of(problem, tolerated_us=tolerated_us) == "sign-off":
            of_all = replace(problem, touches=tuple(Touch(site) for site in release))
            for (site, _), reasons in held.items():
                if site in release:
                    reasons.append(Reason(problem.code, "", of_all, "sign-off"))


def _from_release(network: Network, release: tuple[str, ...], held: _Held) -> None:
    """None of a release goes out while one of it is withheld."""
    names = _names(network)
    causes = {site: cause for site in release if (cause := _withheld(held[site, MAIN])) is not None}
    for site in release:
        for other, cause in causes.items() if site not in causes else ():
            through = (
                "" if cause.whose in (other, site) else f", which stands and falls with {names.get(cause.whose, 'it')}"
            )
            words = f"site {names[site]} changes together with {names[other]}{through}"
            _passed_on(held, Touch(site, MAIN), cause, "release-withheld", words, names, by=Touch(other))


def _between_routes(network: Network, held: _Held) -> None:
    """A standby in doubt wants a sign-off on the main route; a withheld main route withholds the whole sheet."""
    names = _names(network)
    for site in network.sites:
        main = held.get((site.id, MAIN))
        if main is None:
            continue
        others = [chain.route for chain in site.chains if chain.route != MAIN]
        stop = _withheld(main)
        faulty = [route for route in others if _withheld(held[site.id, route]) is not None]
        if stop is None and faulty:
            for route in faulty:
                cause = _withheld(held[site.id, route])
                assert cause is not None
                what = f"site {names[site.id]}: the {route} route is withheld: {cause.problem.what}"
                expected = "inhibit the change-over to it until it is corrected"
                problem = replace(
                    cause.problem,
                    what=what,
                    expected=expected,
                    severity="warning",
                    code="standby-faulty",
                    said={"own_site": site.id, "held_route": route, "cause": cause.problem},
                )
                main.append(Reason("standby-faulty", site.id, problem, "sign-off"))
        for route in others if stop is None else ():
            told = {(r.code, r.problem) for r in main}
            main += [r for r in held[site.id, route] if r.consequence == "sign-off" and (r.code, r.problem) not in told]
        for route in others:
            if stop is not None and _withheld(held[site.id, route]) is None:
                held[site.id, route].append(stop)


def _state(reasons: list[Reason]) -> State:
    """The gravest consequence."""
    grave = {reason.consequence for reason in reasons}
    return "withheld" if "withheld" in grave else "sign-off" if "sign-off" in grave else "fit"


def _ranked(reasons: list[Reason]) -> tuple[Reason, ...]:
    """The gravest first, each doubt once."""
    order = ("withheld", "sign-off", "remark")
    unique = dict.fromkeys((r.consequence, r.code, r.whose, r.problem) for r in reasons)
    made = [Reason(code, whose, problem, consequence) for consequence, code, whose, problem in unique]
    return tuple(sorted(made, key=lambda r: order.index(r.consequence)))
