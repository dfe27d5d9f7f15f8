"""Time references of the sites: one scale everywhere, antenna cables compensated."""

from collections.abc import Iterator
from dataclasses import replace

from sfn.clock.reference import Receiver, reference_problems
from sfn.errors import Problem, Touch
from sfn.plan import Network
from sfn.systems.of_network import service_of

_KEYS = {"time_scale": "scale", "entered_us": "entered_ns"}  # fields of a receiver as the document has them
PART_OF_TOLERANCE = 0.1  # what a cable may take of the service's tolerance (engineering judgement)


def receivers_of(network: Network) -> dict[str, Receiver]:
    """Timing receivers of the sites that say what they keep, by site id; no cable where none is given."""
    return {
        site.id: Receiver(
            at.cable_m or 0.0, at.cable_velocity_factor, at.entered_ns / 1000 if at.cable_m else 0.0, at.scale
        )
        for site in network.sites
        if (at := site.time_reference) is not None
    }


def references(network: Network) -> Iterator[Problem]:
    """Sites whose time scale differs from the others', cables that cost too much, and sites that say nothing."""
    receivers = receivers_of(network)
    if not receivers:
        return
    places = {site.id: (n, site.name) for n, site in enumerate(network.sites)}
    tolerance_us = PART_OF_TOLERANCE * service_of(network).tolerance_us
    for problem in reference_problems(receivers, tolerance_us=tolerance_us):
        n, name = places[problem.sites[0]]
        key = _KEYS[problem.fields[0]]
        where, what = f"sites[{n}].time_reference.{key}", f"site {name}: {problem.what}"
        yield replace(problem, where=where, what=what, fields=(key,))
    for site in network.sites:
        if site.id not in receivers and site.fed_off_air_from is None:
            n, name = places[site.id]
            what = f"site {name} does not say which time scale it keeps, others do"
            yield Problem(
                f"sites[{n}].time_reference", what, "UTC, GPS or TAI, as the others", "warning",
                code="time-reference-missing", touches=(Touch(site.id),), stages=(), fields=("time_reference",),
            )  # fmt: skip
