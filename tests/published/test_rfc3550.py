"""RFC 3550 jitter and RFC 5481 delay variation: five packets worked out by hand."""

from collections.abc import Callable

import numpy as np

from sfn.stream.measured import above_least, interarrival_jitter

SENT_US = np.array([0.0, 1000.0, 2000.0, 3000.0, 4000.0])
ARRIVED_US = np.array([10_000.0, 11_200.0, 12_000.0, 13_500.0, 14_100.0])


def test_interarrival_jitter(published: Callable[..., None]) -> None:
    """J after each packet but the first."""
    theirs = (0.0125, 0.02421875, 0.05395508, 0.07558289)
    for k, (ours, value) in enumerate(zip(interarrival_jitter(SENT_US, ARRIVED_US) / 1000, theirs, strict=True)):
        published(f"J after packet {k + 2}", ours, value, tolerance=1e-8, unit="ms", source="RFC 3550 6.4.1, by hand")


def test_delay_variation(published: Callable[..., None]) -> None:
    """Delay above the least."""
    for k, (ours, value) in enumerate(zip(above_least(SENT_US, ARRIVED_US) / 1000, (0, 0.2, 0, 0.5, 0.1), strict=True)):
        published(f"PDV of packet {k + 1}", ours, value, tolerance=1e-9, unit="ms", source="RFC 5481 4.2, by hand")
