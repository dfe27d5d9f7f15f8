"""Time stamps whose meaning nobody stated: what that may be wrong by, and where it changes nothing.

A stamp is the instant of origin (all that stands behind it adds) or of emission at a plane (all up to there adds
nothing). Of digital services the modulator itself may obey the stamp: ETSI EN 300 799 (TIST), TS 101 191 (MIP) and
TS 102 773 (T2-MI) have the modulator emit at a told instant. So a section that ends at an exciter's input says enough
for an analogue exciter, which reads no stamps, and not for a digital one.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from sfn.chain import TIME_STAMPED, stage_latency
from sfn.errors import Problem, Touch
from sfn.plan import Chain, Network, Site, Stage
from sfn.systems.service import Service
from sfn.units import written

# Settings that differ by less than a nanosecond are the same: 0.3 m of air, below what any field steps by.
SAME_US = 0.001


@dataclass(frozen=True, slots=True)
class Stamped:
    """A chain with a time-stamped section; `own` are its stages."""

    where: str
    site: Site
    chain: Chain
    own: tuple[Stage, ...]

    @property
    def who(self) -> str:
        """Site and route, as a sentence begins."""
        return f"site {self.site.name} ({self.chain.route})"

    @property
    def touch(self) -> Touch:
        """What a problem of it touches."""
        return Touch(self.site.id, self.chain.route)

    @property
    def section(self) -> Stage:
        """The last section at whose stamps the signal is released."""
        return next(stage for stage in reversed(self.own) if stage.kind == TIME_STAMPED)

    @property
    def behind(self) -> tuple[Stage, ...]:
        """The stages behind that section."""
        last = max(n for n, stage in enumerate(self.own) if stage.kind == TIME_STAMPED)
        return self.own[last + 1 :]


def passed_stamps(network: Network) -> tuple[Stamped, ...]:
    """Every chain with a time-stamped section, in document order."""
    stages = {stage.id: stage for stage in network.stages}
    passed = (
        Stamped(f"sites[{i}].chains[{j}].stages", site, chain, tuple(stages[name] for name in chain.stages))
        for i, site in enumerate(network.sites)
        for j, chain in enumerate(site.chains)
    )
    return tuple(one for one in passed if any(stage.kind == TIME_STAMPED for stage in one.own))


def meaning_unknown(network: Network, stamped: tuple[Stamped, ...], carried: Service | None) -> Iterator[Problem]:
    """What it may be wrong by that nobody stated the meaning, or that it is said to be unknown.

    Parameters
    ----------
    network : Network
    stamped : tuple of Stamped
        From `passed_stamps`.
    carried : Service or None
        What the network carries; where that is not known no section's own plane is taken for the meaning.

    Returns
    -------
    problems : iterator of Problem
        An error where the sites' launches would move against each other, with ``differs_us``; else a warning.
    """
    analogue = carried is not None and carried.kind == "fm"
    silent = network.time_stamps is None
    own_word = [one for one in stamped if silent and analogue and one.section.reference_plane is not None]
    doubtful = [one for one in stamped if one not in own_word]
    where, field = ("time_stamps", "time_stamps") if silent else ("time_stamps.meaning", "meaning")
    said = "the document does not say what its time stamps mean" if silent else "what the time stamps mean is not known"
    expected = "time_stamps with the meaning origin (every stage adds to the stamp), or emission with the plane"
    if doubtful:
        yield _weighed(
            network, doubtful, where=where, said=said, expected=expected, fields=(field,), code="stamp-meaning-unknown"
        )
    counted = [one for one in own_word if one.behind]
    if counted:
        planes = ", ".join(f"{one.section.id} ({one.section.reference_plane})" for one in _first_of_sections(counted))
        yield Problem(
            where,
            f"{_sites(counted)}: {said}; each section was taken to hold up to its own plane, {planes}, "
            "and every stage behind it was counted",
            expected,
            "warning",
            code="stamp-meaning-not-stated",
            touches=tuple(one.touch for one in counted),
            stages=tuple(one.section.id for one in _first_of_sections(counted)),
            fields=(field,),
            said={"planes": planes},
        )


def emission_unnamed(network: Network, stamped: tuple[Stamped, ...]) -> Iterator[Problem]:
    """Stamps that are the instant of emission, where neither the document nor the section says at which plane.

    A section before a modulator cannot be where the signal is emitted, whatever plane it states.
    """
    doubtful = [
        one
        for one in stamped
        if one.behind
        and (one.section.reference_plane is None or any(stage.kind == "modulator" for stage in one.behind))
    ]
    if doubtful:
        yield _weighed(
            network,
            doubtful,
            where="time_stamps.plane",
            said="the stamp is the instant of emission, but time_stamps.plane does not say where",
            expected="the stage behind which the stamp holds, as time_stamps.plane; or the meaning origin",
            fields=("plane",),
            code="stamp-plane-unnamed",
        )


def _weighed(
    network: Network,
    doubtful: list[Stamped],
    *,
    where: str,
    said: str,
    expected: str,
    fields: tuple[str, ...],
    code: str,
) -> Problem:
    """One problem for all chains in doubt: an error where the launches of sites would move against each other."""
    differs_us, moves_us = _at_stake(network, doubtful)
    behind = tuple(dict.fromkeys(stage.id for one in doubtful for stage in one.behind))
    if differs_us > SAME_US:
        what = (
            f"{_sites(doubtful)}: {said}; all of {', '.join(behind)} was counted, which may be too much: launches may "
            f"stand {written(differs_us, 4)} us off one another"
        )
    elif behind:
        what = (
            f"{_sites(doubtful)}: {said}; all of {', '.join(behind)} was counted. That changes nothing between the "
            f"sites; only readings against a pulse may come {written(moves_us, 4)} us early, at all sites alike"
        )
    else:
        what = f"{_sites(doubtful)}: {said}; no stage stands behind a stamp, so that changes nothing"
    matters = differs_us > SAME_US
    return Problem(
        where,
        what,
        expected,
        "error" if matters else "warning",
        code=code if matters else "stamp-meaning-alike",
        touches=tuple(one.touch for one in doubtful),
        stages=behind,
        fields=fields,
        values={"differs_us": differs_us, "moves_us": moves_us},
        said={
            "differs_said": f"{written(differs_us, 4)} us",
            "moves_said": f"{written(moves_us, 4)} us" if behind and not matters else None,
        },
    )


def _at_stake(network: Network, doubtful: list[Stamped]) -> tuple[float, float]:
    """How far launches may come to stand off one another, and how far the most may move. [us]

    Looked at for every plane at which emission may be meant: behind the last stage of one kind, in all chains.
    A relay moves with its parent.
    """
    feeding = [(site.id, c.route) for site in network.sites if site.fed_off_air_from is None for c in site.chains]
    differs = moves = Decimal(0)
    for kind in {stage.kind for one in doubtful for stage in one.behind}:
        shift = dict.fromkeys(feeding, Decimal(0)) | {
            (one.site.id, one.chain.route): _up_to(one.behind, kind, network.refractivity_n) for one in doubtful
        }
        differs = max(differs, max(shift.values()) - min(shift.values()))
        moves = max(moves, max(shift.values()))
    return float(differs), float(moves)


def _up_to(behind: tuple[Stage, ...], kind: str, refractivity_n: float) -> Decimal:
    """What the stages up to and with the last of a kind take; nothing where there is none. [us]"""
    last = max((n for n, stage in enumerate(behind) if stage.kind == kind), default=-1)
    latencies = (stage_latency(stage, refractivity_n=refractivity_n) for stage in behind[: last + 1])
    return sum(latencies, Decimal(0))


def _sites(chains: Iterable[Stamped]) -> str:
    """The sites as a sentence begins."""
    return f"site {', '.join(map(format, dict.fromkeys(one.site.name for one in chains)))}"


def _first_of_sections(chains: Iterable[Stamped]) -> tuple[Stamped, ...]:
    """One chain for each section."""
    return tuple({one.section.id: one for one in chains}.values())
