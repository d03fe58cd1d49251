"""The nearest ten of a hundred thousand curves: ours beside scikit-learn's brute force, in one run."""

from statistics import median
from time import perf_counter

import numpy as np

from curves.engine import Shelf
from curves.engine.likeness.curves import DESCRIPTION_RPM

ROWS = 100_000
QUERIES = 15


def measure():
    """Look for the same neighbours with both."""
    from sklearn.neighbors import NearestNeighbors

    rng = np.random.default_rng(1)
    rows = np.cumsum(rng.uniform(0, 1.2, (ROWS, DESCRIPTION_RPM.size)), axis=1)
    queries = np.cumsum(rng.uniform(0, 1.2, (QUERIES, DESCRIPTION_RPM.size)), axis=1)
    shelf = Shelf(rows)
    shelf.nearest(queries[0])
    peer = NearestNeighbors(n_neighbors=10, algorithm="brute").fit(rows)
    ours, theirs, same = [], [], True
    for query in queries:
        start = perf_counter()
        found = shelf.nearest(query, 10)
        middle = perf_counter()
        _, index = peer.kneighbors(query[None])
        theirs.append(perf_counter() - middle)
        ours.append(middle - start)
        same &= bool((found.index == index[0]).all())
    return {
        "seconds": median(ours),
        "sklearn_seconds": median(theirs),
        "ratio": median(theirs) / median(ours),
        "same_neighbours": same,
    }


def as_text(row):
    """Put the figures into words."""
    yield (
        f"Nearest 10 of {ROWS} curves: {1e3 * row['seconds']:.1f} ms (at most 20), scikit-learn "
        f"{1e3 * row['sklearn_seconds']:.1f} ms, ratio {row['ratio']:.1f} (at least 1); "
        f"same neighbours: {row['same_neighbours']}"
    )
