"""Transmitters of other programmes as a network of their own, so that their levels come from the same model as ours."""

from dataclasses import replace

from sfn.errors import PlanError
from sfn.geodesy.position import Located
from sfn.geodesy.sites import placed_sites
from sfn.plan import Chain, Network, OtherTransmitter, Site


def on_channel(network: Network) -> tuple[OtherTransmitter, ...]:
    """The other transmitters that are on air."""
    return tuple(one for one in network.other_transmitters or () if one.on_air)


def others_of(network: Network) -> Network | None:
    """The other transmitters that are on air as a network of their own, for their levels alone; None where none is."""
    listed = on_channel(network)
    if not listed:
        return None
    sites = tuple(
        Site(
            id=one.id,
            name=one.name,
            position=one.position,
            ground_m=one.ground_m,
            antenna_m=one.antenna_m,
            erp_kw=one.erp_kw,
            antenna=one.antenna,
            on_air=True,
            delay_fields=(),
            chains=(Chain(route="main", stages=("none",)),),
        )
        for one in listed
    )
    alone = network.of_sites(sites).without(())
    return alone.model_copy(update={"other_transmitters": None, "corrections": None})


def others_placed(of: Network) -> dict[str, Located]:
    """Where they stand; `of` is from `others_of`.

    Raises
    ------
    PlanError
        With one problem for each position that cannot be read, by the id of each.
    """
    found = placed_sites(of)
    if found.problems:
        raise PlanError(
            [
                replace(problem, where=f"other_transmitters({problem.touches[0].site}).position", touches=())
                for problem in found.problems
            ]
        )
    return found.at
