"""Colours of the maps: one diverging map centred on zero for differences, one sequential for amounts.

All from matplotlib's perceptually uniform or colour-blind-safe sets. Sites have a set of distinct colours.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

ScaleKind = Literal["difference", "amount", "margin", "sites", "classes", "flag", "change"]
_MAPS: dict[ScaleKind, str] = {"difference": "BrBG_r", "margin": "BrBG", "amount": "cividis"}
# Classes of reception by their codes: two greens for served, brown for upset, grey for too weak, yellow for clear but
# not stereo, violet for another station.
_CLASS_PLACES = (("BrBG", 0.95), ("BrBG", 0.68), ("BrBG", 0.18), ("Greys", 0.4), ("cividis", 0.93), ("PuOr", 0.9))
# Loses service, gets worse, gets better, gains service: browns and greens of BrBG, told apart by all kinds of sight.
_CHANGE_PLACES = (0.08, 0.3, 0.7, 0.92)
_SITE_COLOURS = "petroff10"  # Petroff, Accessible Color Sequences for Data Visualization, arXiv:2107.02270
# Beyond ten sites the same colours come again lighter, then darker, so that no two of thirty are alike.
_AGAIN = (("#ffffff", 0.0), ("#ffffff", 0.55), ("#000000", 0.45))
FLAG_PLACE = 2  # what is lost to our own sites has their class's colour
_NAMED = ("sites", "classes", "flag", "change")
Pixels = NDArray[np.uint8]
# Strokes of this slope mark what the terrain does not cover.
_HATCH_N = 8
_STROKE_RGBA = (110, 105, 95, 170)


@dataclass(frozen=True, slots=True)
class Scale:
    """What the colours of a layer mean: from `low` to `high` in `unit`; sites by their place in the list."""

    kind: ScaleKind
    low: float
    high: float
    unit: str
    words: tuple[str, ...] = ()
    """Of classes: what each whole number means for people."""
    shown: tuple[int, ...] = ()
    """Of classes: those that there are, the best first."""


def site_colours(count: int) -> list[str]:
    """A colour for each site, as ``#rrggbb``; they repeat beyond thirty."""
    import matplotlib as mpl
    from matplotlib.colors import to_hex, to_rgb

    plain = np.array([to_rgb(colour) for colour in mpl.color_sequences[_SITE_COLOURS]])
    made = []
    for i in range(count):
        towards, part = _AGAIN[i // len(plain) % len(_AGAIN)]
        made.append(to_hex((1 - part) * plain[i % len(plain)] + part * np.array(to_rgb(towards))))
    return made


def class_colours() -> list[str]:
    """A colour for each class of reception, as ``#rrggbb``."""
    import matplotlib as mpl
    from matplotlib.colors import to_hex

    return [to_hex(mpl.colormaps[name](place)) for name, place in _CLASS_PLACES]


def change_colours() -> list[str]:
    """A colour for each of: loses service, worse, better, gains service, as ``#rrggbb``."""
    import matplotlib as mpl
    from matplotlib.colors import to_hex

    return [to_hex(mpl.colormaps["BrBG"](place)) for place in _CHANGE_PLACES]


def named_colours(scale: Scale) -> list[str]:
    """The colour of each whole value of a scale of sites, classes, changes or a flag, as ``#rrggbb``."""
    if scale.kind == "sites":
        return site_colours(max(1, round(scale.high)))
    if scale.kind == "change":
        return change_colours()
    return class_colours() if scale.kind == "classes" else [class_colours()[FLAG_PLACE]] * 2


def gradient(scale: Scale, steps: int = 9) -> list[tuple[float, str]]:
    """Stops of the scale: parts of its length and ``#rrggbb``."""
    import matplotlib as mpl
    from matplotlib.colors import to_hex

    table = mpl.colormaps[_MAPS[scale.kind]]
    return [(float(p), to_hex(table(p))) for p in np.linspace(0, 1, steps)]


def painted(values: NDArray[np.float32], scale: Scale, *, covered: NDArray[np.bool_]) -> Pixels:
    """A layer as RGBA pixels.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        NaN is left clear.
    scale : Scale
    covered : ndarray of bool, shape (rows, columns)
        Where False, grey strokes say "not covered".

    Returns
    -------
    rgba : ndarray of uint8, shape (rows, columns, 4)
    """
    import matplotlib as mpl
    from matplotlib.colors import to_rgb

    clear = ~np.isfinite(values)
    if scale.kind == "flag":
        clear |= values == 0
    if scale.kind in _NAMED:
        rgb = np.array([to_rgb(colour) for colour in named_colours(scale)])
        picked = np.where(clear, 0, values).astype(np.uint16) % len(rgb)
    else:
        rgb = mpl.colormaps[_MAPS[scale.kind]](np.arange(256))[:, :3]
        share = (np.where(clear, scale.low, values) - scale.low) * (255 / (scale.high - scale.low))
        picked = np.clip(share, 0, 255).astype(np.uint16)
    # The last two rows of the table are for what is clear and for the strokes.
    table = np.zeros((len(rgb) + 2, 4), dtype=np.uint8)
    table[: len(rgb), :3], table[: len(rgb), 3] = (rgb * 255).round(), 255
    table[-1] = _STROKE_RGBA
    picked[clear] = len(rgb)
    if not covered.all():
        rows, columns = np.indices(values.shape)
        picked[~covered & ((rows + columns) % _HATCH_N < 2)] = len(rgb) + 1
    return np.asarray(table[picked])
