"""The checksum that is printed: of the document, and of its service where that is from a file of the user's own."""

import hashlib

from sfn.errors import PlanError
from sfn.plan import Network, checksum
from sfn.systems.service import found_in, own_stamp, service


def stamped_checksum(network: Network) -> str:
    """Eight characters that change when the document changes, or the figures of its service.

    The same document under other figures of its service gives other results: what is printed must tell them apart.
    A service that is as shipped leaves `sfn.plan.checksum` as it is, and so does one that is not known.

    Parameters
    ----------
    network : Network
    """
    of_document = checksum(network)
    if not own_stamp()[0]:
        return of_document
    try:
        carried = service(network.service)
    except PlanError:
        return of_document
    if carried == found_in(network.service.strip().lower(), None):
        return of_document
    return hashlib.sha256(f"{of_document}{carried!r}".encode()).hexdigest()[:8]
