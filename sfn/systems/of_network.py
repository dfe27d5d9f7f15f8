"""What a network takes from services: its own under the user's file it is read under, and the checksum that is printed.

Results follow from the document and from the figures of its service. The file is part of the record
(`Network.own_services`), so two networks of one process may be under different files.
"""

import hashlib

from sfn.errors import PlanError
from sfn.plan import Network, checksum
from sfn.systems.service import Service, service


def service_of(network: Network) -> Service:
    """The service that a network names, under the file of services that it is read under.

    Parameters
    ----------
    network : Network

    Raises
    ------
    PlanError
        If there is no such service (near names are listed) or the user's file is unusable.
    """
    return service(network.service, own_services=network.own_services)


def stamped_checksum(network: Network) -> str:
    """Eight characters that change when the document changes, or the figures of its service.

    The same document under other figures of its service gives other results: what is printed must tell them apart.
    A service that is as shipped leaves `sfn.plan.checksum` as it is, and so does one that is not known.

    Parameters
    ----------
    network : Network
    """
    return stamped(checksum(network), service_id=network.service, own_services=network.own_services)


def stamped(of_document: str, *, service_id: str, own_services: str) -> str:
    """The same of a document whose checksum and service are known.

    Parameters
    ----------
    of_document : str
        Its `sfn.plan.checksum`.
    service_id, own_services : str
        What it names, and the text of the user's file that it is read under.
    """
    carried = _known(service_id, own_services) if own_services else None
    if carried is None or carried == _known(service_id, ""):
        return of_document
    return hashlib.sha256(f"{of_document}{carried!r}".encode()).hexdigest()[:8]


def _known(service_id: str, own_services: str) -> Service | None:
    """The service of an id, None where there is none."""
    try:
        return service(service_id, own_services=own_services)
    except PlanError:
        return None
