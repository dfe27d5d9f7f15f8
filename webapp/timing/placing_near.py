"""The place that high ground must see: one of the lists that the map finds places in, before the search begins."""

from sfn.geodesy.sites import place
from sfn.study.find_place import PEOPLE, SITES, TYPED
from sfn.study.placing_asked import place_named
from webapp.config.settings import Settings
from webapp.forms.placing_typed import near_found
from webapp.shell.dependencies import Opened
from webapp.standing.overlaid import place_lists
from webapp.store.store import Store
from webapp.work.maps import Maps, Wanted

# Found again by the search itself, in the network and in who is counted.
OWN = {SITES, PEOPLE, TYPED}
OFFERED_N = 200


def found_near(
    text: str, store: Store, maps: Maps, settings: Settings, opened: Opened, wanted: Wanted
) -> dict[str, str]:
    """What stands beside the typed name: where it lies, if a fetched list or an own overlay has it; else nothing.

    Raises
    ------
    PlanError
        If it is no place, or may be several.
    """
    network = opened.network
    found = place_named(
        network, text, placed=place(network), places=maps.listeners(network, wanted.grid).places,
        lists=place_lists(store, maps, settings, opened.head.id, network),
    )  # fmt: skip
    return {} if found.source.split("; ")[0] in OWN else near_found(found)


def names_offered(store: Store, maps: Maps, settings: Settings, opened: Opened, wanted: Wanted) -> tuple[str, ...]:
    """Names that may be typed: sites, then the largest towns and names of all lists, each once."""
    network = opened.network
    towns = [(one.people, one.name) for one in maps.listeners(network, wanted.grid).places]
    for listed in place_lists(store, maps, settings, opened.head.id, network):
        towns += [(one.people or 0.0, one.name) for one in listed.places]
    largest = (name for _, name in sorted(towns, key=lambda one: (-one[0], one[1]))[:OFFERED_N])
    return tuple(dict.fromkeys((*(site.name for site in network.sites), *largest)))
