"""Virtual rasters (``.vrt``): only those that lay files side by side which lie beside them.

GDAL follows whatever a virtual raster names: any file of the machine, an address, a piece of code. So its text is
held against a list of what may stand in it before GDAL sees it, and each member must be what its ending says.
"""

import re
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

MOST_BYTES = 4_000_000
MOST_MEMBERS = 2000
_MAY_STAND = {
    "VRTDataset", "SRS", "GeoTransform", "Metadata", "MDI", "VRTRasterBand", "NoDataValue", "ColorInterp",
    "Description", "UnitType", "Scale", "Offset", "SimpleSource", "ComplexSource", "SourceFilename", "SourceBand",
    "SourceProperties", "SrcRect", "DstRect", "NODATA", "ScaleOffset", "ScaleRatio", "HideNoDataValue", "BlockXSize",
    "BlockYSize",
}  # fmt: skip
# GDAL takes attributes in any case: an odd one must not pass beside its twin.
_MAY_BE_SAID = {
    "rasterXSize", "rasterYSize", "dataType", "band", "blockXSize", "blockYSize", "relativeToVRT", "shared",
    "RasterXSize", "RasterYSize", "DataType", "BlockXSize", "BlockYSize", "xOff", "yOff", "xSize", "ySize", "key",
    "domain", "format", "dataAxisToSRSAxisMapping", "coordinateEpoch", "resampling",
}  # fmt: skip
_MEMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._ -]{0,119}")
_BEGINNINGS: dict[str, tuple[bytes, ...]] = {
    ".tif": (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
    ".tiff": (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
    ".img": (b"EHFA_HEADER_TAG",),
}
# Heights of the earth never spell the beginning of a tag.
_TAG = re.compile(rb"<[A-Za-z?!]")
_LOOKED_AT_BYTES = 65_536


class UnusableError(Exception):
    """A file that cannot serve as terrain: what is wrong, what is expected."""


def members_of(path: Path) -> tuple[Path, ...]:
    """The files that a virtual raster is made of, each checked.

    Raises
    ------
    UnusableError
        If it is no virtual raster, holds more than members laid side by side, or one of them is not a plain raster
        file in the same folder.
    """
    root = _parsed(path)
    odd = sorted({element.tag for element in root.iter()} - _MAY_STAND)
    odd_said = any(not _MAY_BE_SAID.issuperset(element.attrib) for element in root.iter())
    if root.tag != "VRTDataset" or odd or odd_said:
        what = f"holds <{odd[0]}>" if odd else "is computed, not laid together"
        raise UnusableError(what, "a VRT that only lays files side by side, as gdalbuildvrt makes it")
    named = list(root.iter("SourceFilename"))
    if not 0 < len(named) <= MOST_MEMBERS:
        raise UnusableError(f"names {len(named)} files", f"a VRT of 1 to {MOST_MEMBERS} files")
    return tuple(dict.fromkeys(_member(path, element) for element in named))


def _parsed(path: Path) -> Element:
    """The text of a virtual raster as XML, without definitions of its own."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    expected = "a virtual raster of GDAL"
    if path.stat().st_size > MOST_BYTES:
        raise UnusableError("is too large for a virtual raster", f"{MOST_BYTES} bytes at most")
    raw = path.read_bytes()
    if b"<!" in raw or b"\0" in raw:
        raise UnusableError("holds definitions or remarks of its own", expected)
    try:
        root: Element = fromstring(raw, forbid_dtd=True)
    except (ParseError, DefusedXmlException) as error:
        raise UnusableError("cannot be read as a raster", expected) from error
    return root


def _member(path: Path, element: Element) -> Path:
    """One member, refused unless it is a plain raster file beside the virtual one."""
    name = (element.text or "").strip().removeprefix("./")
    expected = "members that lie beside it and came with it, named without a path (relativeToVRT)"
    member = path.parent / name
    plain = element.get("relativeToVRT") == "1" and _MEMBER.fullmatch(name)
    if not plain or member.is_symlink():
        raise UnusableError(f"names {name[:80]!r}, which may lie elsewhere", expected)
    if not member.is_file():
        raise UnusableError(f"names {name!r}, which is not there", expected)
    ending = member.suffix.lower()
    with member.open("rb") as stream:
        head = stream.read(_LOOKED_AT_BYTES)
    sound = (
        head.startswith(_BEGINNINGS[ending]) if ending in _BEGINNINGS else ending == ".hgt" and not _TAG.search(head)
    )
    if not sound:
        raise UnusableError(f"names {name!r}, which is not what its ending says", "members in .tif, .img or .hgt")
    return member
