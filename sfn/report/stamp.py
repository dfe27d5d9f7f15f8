"""What every exported file says of itself: network, revision, date, and whether it is the plan or a try."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sfn.field.over_smooth import smooth_said
from sfn.field.shift import shift_says
from sfn.plan import Network
from sfn.plan.left_out import left_out_says
from sfn.systems.fm_carried import heard_programme
from sfn.systems.of_network import stamped_checksum
from sfn.terrain.credits import credits_say

TRY = "TRY"


@dataclass(frozen=True, slots=True)
class Stamp:
    """Where a file comes from.

    Parameters
    ----------
    network : str
        Its name.
    revision : int or None
        In the store; None for a document on its own.
    checksum : str
        Of the document.
    sites : tuple of str
        Their ids, in the order in which layers of sites number them from 0.
    made_at : datetime
        In UTC.
    says : tuple of str
        What is tried, a sentence each; empty where it is the plan.
    corrected : str
        Which levels are corrected by drive tests, in words; empty where none is.
    left_out : str
        Which sites the file does without, and what its figures then are, in words; empty where there are none.
    cut : str
        What the frame of the map cuts, in words; empty where nothing is.
    programme : str
        FM: what quality holds for, in words; empty for other services.
    classes : tuple of str
        What stands beside every class of reception, a sentence each; empty in files without classes.
    credits : str
        Whose data its ground and people are, in words; empty where nobody asks for it.
    smooth : str
        That levels are those over a smooth earth, and where it lies, in words; empty where a terrain is named.
    """

    network: str
    revision: int | None
    checksum: str
    sites: tuple[str, ...]
    made_at: datetime
    says: tuple[str, ...] = ()
    corrected: str = ""
    left_out: str = ""
    cut: str = ""
    programme: str = ""
    classes: tuple[str, ...] = ()
    credits: str = ""
    smooth: str = ""

    @property
    def is_try(self) -> bool:
        """Whether it is not the plan."""
        return bool(self.says)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must stand beside the figures: who is left out, what is cut, corrected and heard, what classes are."""
        heard = f"FM quality of {self.programme}" if self.programme else ""
        return tuple(
            said
            for said in (self.left_out, self.cut, self.smooth, self.corrected, heard, *self.classes, self.credits)
            if said
        )

    @property
    def state(self) -> str:
        """``plan``, or that it is a try, and which."""
        said = _plain("; ".join(self.says))
        return f"{TRY}, not the plan: {said}" if self.says else "plan"

    @property
    def of(self) -> str:
        """``revision 3``."""
        return "a document without a revision" if self.revision is None else f"revision {self.revision}"

    @property
    def date(self) -> str:
        """To the minute, in UTC."""
        return f"{self.made_at:%Y-%m-%d %H:%M} UTC"

    def tags(self) -> dict[str, str]:
        """For a GeoTIFF, and for every feature of a file of lines."""
        revision = "" if self.revision is None else str(self.revision)
        made = {"network": self.network, "revision": revision, "checksum": self.checksum, "state": self.state}
        said = {
            "left_out": self.left_out,
            "cut": self.cut,
            "ground": self.smooth,
            "levels": self.corrected,
            "programme": self.programme,
            "classes_say": ". ".join(self.classes),
            "credits": self.credits,
        }
        return made | {name: _plain(text) for name, text in said.items() if text}

    def column(self, name: str) -> str:
        """A column's name: the layer with its unit, and the revision; a try says so first."""
        ending = "" if self.revision is None else f"_revision_{self.revision}"
        return f"{TRY}_{name}{ending}" if self.is_try else f"{name}{ending}"

    def file(self, name: str, ending: str) -> str:
        """A file's name, in letters that every system takes; that of a try begins with TRY."""
        plain = unicodedata.normalize("NFKD", self.network).encode("ascii", "ignore").decode().lower()
        head = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "network"
        middle = "" if self.revision is None else f"-revision-{self.revision}"
        return f"{TRY + '-' if self.is_try else ''}{head}{middle}-{name}.{ending}"


def stamp(
    network: Network,
    *,
    revision: int | None,
    made_at: datetime,
    says: tuple[str, ...] = (),
    cut: str = "",
    classes: tuple[str, ...] = (),
    credits: tuple[str, ...] = (),  # noqa: A002 - the word for it
) -> Stamp:
    """The stamp of files made from a network's document.

    `says` is what is tried on it, `cut` what a frame cuts, `classes` what stands beside classes of reception,
    `credits` whose data its ground and people are (`sfn.terrain.credits.network_credits`).
    """
    sites = tuple(site.id for site in network.sites)
    left_out = left_out_says(network.left_out)
    checksum, corrected = stamped_checksum(network), shift_says(network)
    return Stamp(
        network.name,
        revision,
        checksum,
        sites,
        made_at,
        says,
        corrected,
        left_out,
        cut,
        heard_programme(network),
        classes,
        credits_say(credits),
        smooth_said(network),
    )


def _plain(text: str) -> str:
    """Text without spaces and signs that files' readers stumble over."""
    return text.replace("\u202f", " ").replace("−", "-")


def stamped(document: Mapping[str, Any], by: Stamp) -> dict[str, Any]:
    """A GeoJSON collection with the stamp on itself and on every feature, because programs take features out of it."""
    tags = by.tags()
    features = [
        f | {"properties": f["properties"] | {k: v for k, v in tags.items() if k != "network"}}
        for f in document["features"]
    ]
    about = document.get("properties", {}) | tags | {"made_at": by.date, "sites": ",".join(by.sites)}
    return {**document, "properties": about, "features": features}
