"""What `/metrics` tells: numbers of requests, jobs, networks, and of the process; no name of a network or a person.

Counted by prometheus-client where that is installed (extra ``metrics``), and not at all where it is not.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from sfn import __version__

try:
    import prometheus_client as prometheus
    from prometheus_client.core import GaugeMetricFamily
except ImportError:  # the extra is not there
    prometheus = None  # type: ignore[assignment]

BOUNDS_S = (0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 60.0)
METHODS = ("GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS")
Now = Callable[[], Iterable[tuple[str, str, dict[str, float] | float]]]
"""Name, what it is, and the value, or values by state: of what is looked up when somebody asks."""


class Measured:
    """Counts of one application. Routes are told as they were written, so that there are few."""

    def __init__(self) -> None:
        self.there = prometheus is not None
        if not self.there:
            return
        self._registry = prometheus.CollectorRegistry()
        kept: dict[str, Any] = {"registry": self._registry, "namespace": "sfn_delays"}
        labels = ("method", "route", "status")
        self._requests = prometheus.Counter("requests", "Requests that were answered.", labels, **kept)
        self._took = prometheus.Histogram(
            "request_seconds", "How long answers took.", ("route",), buckets=BOUNDS_S, **kept
        )
        self._open = prometheus.Gauge("requests_under_way", "Requests that are being answered.", **kept)
        prometheus.Info("program", "Which program this is.", **kept).info({"version": __version__})
        prometheus.ProcessCollector(registry=self._registry)
        prometheus.GCCollector(registry=self._registry)

    @contextmanager
    def under_way(self) -> Iterator[None]:
        """While a request is answered."""
        if not self.there:
            yield
            return
        with self._open.track_inprogress():
            yield

    def answered(self, method: str, route: str, status: int, took_s: float) -> None:
        """Count an answer; a method that nobody knows is counted as other."""
        if self.there:
            self._requests.labels(method if method in METHODS else "other", route, str(status)).inc()
            self._took.labels(route).observe(took_s)

    def looks_at(self, now: Now) -> None:
        """Tell besides what is looked up each time somebody asks."""
        if self.there:
            self._registry.register(_Looked(now))

    def text(self) -> tuple[bytes, str]:
        """Everything in the text format, and the type of that."""
        return prometheus.generate_latest(self._registry), prometheus.CONTENT_TYPE_PLAIN_0_0_4


class _Looked:
    """What is looked up when somebody asks."""

    def __init__(self, now: Now) -> None:
        self._now = now

    def describe(self) -> Iterable[Any]:
        """Nothing beforehand: nobody has asked yet."""
        return ()

    def collect(self) -> Iterator[Any]:
        """Look."""
        for name, what, value in self._now():
            if isinstance(value, dict):
                family = GaugeMetricFamily(f"sfn_delays_{name}", what, labels=("state",))
                for state, number in value.items():
                    family.add_metric((state,), number)
            else:
                family = GaugeMetricFamily(f"sfn_delays_{name}", what, value=value)
            yield family


def counts(states: Iterable[str], known: Iterable[str]) -> dict[str, float]:
    """How many there are in each known state."""
    found = Counter(states)
    return {state: float(found[state]) for state in known}
