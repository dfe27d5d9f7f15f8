"""The spanning tree of least uncertainty through sites of which differences were observed, and ways along it."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def surest_tree(site: Integers, reference: Integers, uncertainty_us: Floats, *, root: Integers) -> Integers:
    """Numbers of the observations that tie all sites together, the surest first.

    Parameters
    ----------
    site, reference : ndarray of int (M,)
    uncertainty_us : ndarray (M,)
        [us]
    root : ndarray of int (N,)
        Sites with one number here count as one: those whose values are given.

    Returns
    -------
    ndarray of int (K,)
        Of each group of connected sites one less than it has; the first of equally sure ones.

    Notes
    -----
    Kruskal 1956: observations in the order of their uncertainty, each taken that closes no loop. So an observation
    that is not taken is not surer than any on the way between its ends.
    """
    above = root.tolist()

    def top(node: int) -> int:
        while above[node] != node:
            above[node] = above[above[node]]
            node = above[node]
        return node

    taken = []
    for k in np.argsort(uncertainty_us, kind="stable").tolist():
        a, b = top(int(site[k])), top(int(reference[k]))
        if a != b:
            above[a] = b
            taken.append(k)
    return np.array(taken, dtype=np.int64)


def paths(site: Integers, reference: Integers, tree: Integers, *, root: Integers, held: NDArray[np.bool_]) -> Floats:
    """Each site's way along the tree from its group's given site, or from its first one where none is given.

    Parameters
    ----------
    site, reference, tree, root
        As for `surest_tree`, and its answer.
    held : ndarray of bool (N,)
        Sites whose values are given.

    Returns
    -------
    ndarray (N, K)
        +1 where a branch is passed from reference to site, -1 the other way round, 0 where it is not passed:
        the value of a site is the sum of its branches' differences. Zero rows for sites whose values are given.
    """
    nodes_n = len(root)
    beside: list[list[tuple[int, int, float]]] = [[] for _ in range(nodes_n)]
    for k, edge in enumerate(tree.tolist()):
        a, b = int(root[site[edge]]), int(root[reference[edge]])
        beside[b].append((a, k, 1.0))
        beside[a].append((b, k, -1.0))
    path = np.zeros((nodes_n, len(tree)))
    seen = held & (root != np.arange(nodes_n))
    for start in (*np.unique(root[held]).tolist(), *range(nodes_n)):
        if seen[start]:
            continue
        seen[start], waiting = True, [start]
        while waiting:
            here = waiting.pop()
            for there, k, way in beside[here]:
                if not seen[there]:
                    seen[there] = True
                    path[there] = path[here]
                    path[there, k] = way
                    waiting.append(there)
    return path
