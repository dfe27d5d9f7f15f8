"""Which sites a search moves together, and which moves are worth another look after one was made.

Besides every site by itself, with those it feeds: the two sides of each link of the tree that joins the sites by their
strongest overlaps. Moving one side changes one difference of delays and leaves all others of the tree alone, so that a
long chain of transmitters need not be pulled straight site by site.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are asked for: together a tenth of a start
from numpy.typing import NDArray

from sfn.solve.limits import Limits
from sfn.solve.objective import Objective
from sfn.solve.packing import Packed

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Moves:
    """Groups of sites that move together.

    Parameters
    ----------
    singles : tuple of ndarray of bool, shape (S,)
        Every free site with those that receive it off air.
    masks : tuple of ndarray of bool, shape (S,)
        `singles`, then sides of the tree.
    near : ndarray of bool, shape (len(masks), S)
        Sites whose change makes a move worth another look.
    signals : ndarray of int, shape (len(masks),)
        Signals at the places that a move touches: what a look costs.
    """

    singles: tuple[Mask, ...]
    masks: tuple[Mask, ...]
    near: NDArray[np.bool_]
    signals: NDArray[np.int64]

    def stirred(self, moved: Mask) -> Mask:
        """Moves that are worth another look after some sites moved, shape (len(masks),)."""
        return np.asarray((self.near & moved).any(axis=1))


def moves(what: Objective, limits: Limits) -> Moves:
    """The moves of a search."""
    singles = tuple(limits.group(int(i)) for i in np.flatnonzero(limits.free))
    known = {mask.tobytes() for mask in singles}
    masks = list(singles)
    for side in _sides(what.places, limits):
        if side.tobytes() not in known:
            known.add(side.tobytes())
            masks.append(side)
    tied = np.isfinite(limits.most_us) | np.isfinite(limits.most_us.T)
    np.fill_diagonal(tied, False)
    near, signals = [], []
    for mask in masks:
        sites, count = _met(what.places, mask)
        near.append(sites | mask | (tied & mask[:, None]).any(axis=0))
        signals.append(count)
    size = len(limits.sites)
    return Moves(singles, tuple(masks), np.array(near, dtype=bool).reshape(-1, size), np.array(signals, dtype=np.int64))


def _met(held: Packed, mask: Mask) -> tuple[Mask, int]:
    """Sites at the places that a move touches, and how many signals there are."""
    touched = np.zeros(held.weight.size, bool)
    touched[held.touched(mask)] = True
    there = np.repeat(touched, np.diff(held.start))
    sites = np.zeros(mask.size, bool)
    sites[held.site[there]] = True
    sites[held.strongest[touched]] = True
    return sites, int(there.sum())


def _sides(held: Packed, limits: Limits) -> Sequence[Mask]:
    """The smaller side without held sites of each link of the overlap tree, with the sites that its sites feed."""
    size = len(limits.sites)
    place = np.repeat(np.arange(held.weight.size), np.diff(held.start))
    other = held.strongest[place]
    apart = held.site != other
    low, high = (op(held.site[apart], other[apart]) for op in (np.minimum, np.maximum))
    weight = np.bincount(low * size + high, weights=held.weight[place][apart], minlength=size * size)
    if not weight.any():
        return []
    # the least spanning tree of the reciprocals is the tree of the strongest overlaps
    cost = np.where(weight > 0, weight.max() / np.maximum(weight, 1e-300), 0.0).reshape(size, size)
    tree = scipy.sparse.csgraph.minimum_spanning_tree(scipy.sparse.csr_array(cost)).tocoo()
    made = []
    for k in range(tree.row.size):
        left = np.arange(tree.row.size) != k
        cut = scipy.sparse.csr_array((np.ones(left.sum()), (tree.row[left], tree.col[left])), shape=(size, size))
        _, part = scipy.sparse.csgraph.connected_components(cut, directed=False)
        sides = [part == part[end] for end in (tree.row[k], tree.col[k])]
        for side in sorted(sides, key=lambda one: int(one.sum())):
            free = side & limits.free
            if free.sum() > 1 and not (side & ~limits.free).any():
                made.append(np.logical_or.reduce([limits.group(int(i)) for i in np.flatnonzero(free)]))
                break
    return made
