"""What of an area's tiles is here: whole ones, those known to be sea, and how much of those that were begun."""

from collections.abc import Sequence
from dataclasses import dataclass

from sfn.country.gather import settled
from sfn.country.sets import Wanted, coarse_of
from sfn.country.shelf import Shelf


@dataclass(frozen=True, slots=True)
class Kept:
    """What of some tiles is here.

    Parameters
    ----------
    wanted_n, whole_n, sea_n : int
        Tiles in all, those that lie here whole, and those that the sources are known not to have.
    whole_bytes : int
        Of the whole ones.
    begun : tuple of (str, int)
        Files that were begun, and how many bytes of each came.
    """

    wanted_n: int
    whole_n: int
    sea_n: int
    whole_bytes: int
    begun: tuple[tuple[str, int], ...]

    @property
    def says(self) -> str:
        """In words."""
        sea = f", {self.sea_n} are known not to be published" if self.sea_n else ""
        begun = "".join(f"; of {name} {_mb(size)} came" for name, size in self.begun)
        whole = f"{self.whole_n} of {self.wanted_n} files are here whole, {_mb(self.whole_bytes)}"
        return f"{whole}{sea}{begun}"


def kept(tiles: Sequence[Wanted], shelf: Shelf) -> Kept:
    """What of some tiles is here; nobody is asked.

    Parameters
    ----------
    tiles : sequence of Wanted
    shelf : Shelf
    """
    whole_n = sea_n = whole_bytes = 0
    begun = []
    for tile in tiles:
        asked = [tile, coarse_of(tile)] if tile.of.key == "heights" else [tile]
        notes = [note for one in asked if (note := shelf.note(one)) is not None and not note.absent]
        whole_n += bool(notes)
        whole_bytes += sum(note.size_bytes for note in notes[:1])
        sea_n += not notes and settled(tile, shelf)
        parts = [shelf.part(one) for one in asked]
        begun += [(part.name.removesuffix(".part"), part.stat().st_size) for part in parts if part.is_file()]
    return Kept(len(tiles), whole_n, sea_n, whole_bytes, tuple(one for one in begun if one[1]))


def _mb(size_bytes: int) -> str:
    """Bytes in MB."""
    return f"{size_bytes / 1e6:.1f} MB"
