"""How far a computation is."""

from dataclasses import dataclass
from typing import ClassVar

from webapp.contexts import Context
from webapp.jobs import JobView


@dataclass(frozen=True, slots=True)
class JobPage(Context):
    """One computation; reloads itself while it runs."""

    TEMPLATE: ClassVar[str] = "job.html"
    job: JobView
    """Its present state."""
