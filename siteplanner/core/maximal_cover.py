"""Which k of n places serve most together, each cell by its best server: the maximal covering problem with shares.

The value of a set S is sum over cells of v max over i in S of p_i: each cell counts v, and counts with the probability
of service by the place that serves it best. With p of 0 and 1 that is the maximal covering location problem of R.
Church and C. ReVelle (Papers of the Regional Science Association 32, 1974, pages 101 to 118).

The value rises with the set and what a place adds falls as the set grows (submodular; G. Nemhauser, L. Wolsey and M.
Fisher, Mathematical Programming 14, 1978, pages 265 to 294), so what a place adds to a part of a set is a bound of
what it adds to the whole. Pairs are enumerated. Larger sets are searched by branch and bound, the best bound first;
beside that of the pairs stands the bound of G. Cornuejols, M. Fisher and G. Nemhauser (Management Science 23, 1977,
pages 789 to 810): with any price u of the cells, no set of k is worth more than sum u + the k largest of sum
max(v p_i - u, 0).
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit, prange

SUMS = {"reassoc", "nsz", "contract"}  # float32 sums in any order, the same one every time; nothing here is NaN
TILE, BLOCK = 16, 2048  # places and cells worked on at once: 32 rows of 2,048 float32 fit a core's own cache
ROUNDING = 4e-6  # of all value: what sums of float32 in blocks may be off by
LOOKS = 2e9  # places x cells looked at, about a second, after which the search for one k stops, its bound left open,
MOST_PASSES = 600  # or so many looks over all cells
UNPRICED = 40  # looks before the cells are priced
PRICINGS = 80  # looks that go into good prices of the cells
ALONE = 1_000_000  # places x cells that one thread looks at sooner than several can be called together


@dataclass(frozen=True)
class BestSet:
    """The best set of one size that was found."""

    chosen: tuple[int, ...]  # rising positions
    value: float
    bound: float  # no set of this size is worth more
    optimal: bool  # nothing is worth more than `value`, but for rounding
    equal: tuple[tuple[int, ...], ...] = ()  # the sets found of that value, this one among them


@dataclass(frozen=True, eq=False)
class Rules:
    """Which places may stand together. `apart[i, j]`: both may be in one set. `kind`: of each place; a set holds at
    most `most[kind]` of a kind."""

    apart: np.ndarray  # (n, n) bool
    kind: np.ndarray  # (n,) int
    most: tuple[int, ...]

    @classmethod
    def free(cls, count: int) -> Rules:
        """Any place with any other."""
        return cls(~np.eye(count, dtype=bool), np.zeros(count, int), (count,))

    def open_to(self, chosen: Sequence[int]) -> np.ndarray:
        """(n,) bool: the places that may be added to a set."""
        full = [k for k, most in enumerate(self.most) if np.count_nonzero(self.kind[list(chosen)] == k) >= most]
        out = ~np.isin(self.kind, full)
        return out & self.apart[list(chosen)].all(0) if len(chosen) else out

    def together(self) -> np.ndarray:
        """(n, n) bool: pairs that may be a set."""
        most = np.array(self.most)[self.kind]
        alone = (self.kind[:, None] == self.kind) & (most < 2)
        return self.apart & ~alone & (most > 0) & (most > 0)[:, None]


def worth(served: np.ndarray, value: np.ndarray, chosen: Sequence[int]) -> float:
    """Value of a set: sum of value x the largest probability in it. served (n, m) 0..1, value (m,).

    In float64, added in pairs, always in one order: off by less than 1e-14 of all value.
    """
    return float((np.asarray(served)[list(chosen)].max(0).astype(float) * value).sum()) if len(chosen) else 0.0


def best_sets(
    served: np.ndarray,
    value: np.ndarray,
    largest: int,
    rules: Rules | None = None,
    most_looks: float = LOOKS,
    pairs: np.ndarray | None = None,
) -> dict[int, BestSet]:
    """The best set of each size from 1 to `largest`; a size that the rules leave no set of is missing.

    served: (n, m) probability 0..1, none unknown; value: (m,) at least 0. Of sets of equal value the one with the lower
    positions. `pairs`: (n, n) as `pair_values` gives it, where it is known. The answer is the same for any number of
    threads. Raises ValueError for shapes that do not fit, unknown
    probabilities or negative values.
    """
    found = np.asarray(served)
    count, rules = len(found), rules or Rules.free(len(found))
    weight = np.asarray(value, float)
    if found.ndim != 2 or weight.shape != found.shape[1:]:
        raise ValueError("served must be (places, cells), value (cells,)")
    if not np.isfinite(found).all() or not np.all(weight >= 0):
        raise ValueError("served must be known, value known and not negative")
    if count == 0 or largest < 1:
        return {}
    if 2 * np.count_nonzero(weight) < len(weight):  # what counts nothing is not looked at
        found, weight = found[:, weight > 0], weight[weight > 0]
    product = np.empty(found.shape, np.float32)
    for row, probability in zip(product, found, strict=True):  # multiplied in float64, a row at a time
        np.multiply(probability, weight, out=row, casting="unsafe")
    pairs = pair_values(product) if pairs is None else pairs
    whole = max(float(pairs.max()), 1e-300)
    slack = ROUNDING * whole
    out: dict[int, BestSet] = {}
    for size in range(1, largest + 1):
        if size == 1:
            near: list[tuple[int, ...]] = [
                (int(i),) for i in np.flatnonzero(pairs.diagonal() >= pairs.diagonal().max() - slack)
            ]
            made = _exact(found, weight, near, None)
        elif size == 2:
            rows, cols = np.nonzero(np.triu(rules.together(), 1))
            if not len(rows):
                break
            values = pairs[rows, cols]
            close = values >= values.max() - slack
            made = _exact(found, weight, list(zip(rows[close], cols[close], strict=True)), None)
        else:
            searched = _search(product, pairs, rules, size, out[size - 1].chosen, slack, _passes(most_looks, product))
            if searched is None:
                break
            made = _exact(found, weight, searched[0], searched[1])
        out[size] = made
    return out


def best_addition(
    served: np.ndarray, value: np.ndarray, chosen: Sequence[int], rules: Rules, among: Sequence[int] | None = None
) -> int | None:
    """The place that adds most to places that stand already, of those of `among`; None where the rules leave none."""
    open_to = np.flatnonzero(rules.open_to(chosen))
    open_to = open_to if among is None else np.intersect1d(open_to, among)
    if not len(open_to):
        return None
    held = np.asarray(served)[list(chosen)].max(0)
    adds = [float((np.maximum(np.asarray(served)[i], held).astype(float) * value).sum()) for i in open_to]
    return int(open_to[int(np.argmax(np.array(adds) >= max(adds) - 1e-12))])


def _exact(served: np.ndarray, value: np.ndarray, near: Sequence[tuple[int, ...]], open_bound: float | None) -> BestSet:
    """The best of sets that float32 cannot tell apart, in float64. `open_bound`: what is not searched may reach it."""
    sets = sorted(tuple(sorted(int(i) for i in chosen)) for chosen in near)
    values = np.array([worth(served, value, chosen) for chosen in sets])
    equal = np.flatnonzero(values >= values.max() - 1e-12 * max(values.max(), 1e-300))
    best, alike = float(values[equal[0]]), tuple(sets[k] for k in equal)
    if open_bound is None or open_bound <= best * (1 + 3 * ROUNDING):  # what is left open is rounding
        return BestSet(alike[0], best, best, True, alike)
    return BestSet(alike[0], best, open_bound, False, alike)


def _search(
    product: np.ndarray,
    pairs: np.ndarray,
    rules: Rules,
    size: int,
    smaller: tuple[int, ...],
    slack: float,
    most_passes: int,
) -> tuple[list[tuple[int, ...]], float | None] | None:
    """(sets that are best but for rounding, what the rest may reach or None when nothing is left) of one size.

    Nodes are sets in rising position; the bound of a node is the smaller of what its members' pairs (or a look over
    the cells) and what the prices of the cells allow for the places still to come.
    """
    alone = pairs.diagonal()
    adds_to = pairs - alone[:, None]  # what j adds to i alone
    kept: dict[tuple[int, ...], float] = {}
    start = _greedy(product, rules, smaller, size)
    best = 0.0
    if start is not None:
        best = start[1]
        kept[tuple(sorted(start[0]))] = start[1]
    prices, earns = math.inf, np.zeros(len(product))
    heap: list[tuple[float, tuple[int, ...], float]] = [(-math.inf, (), 0.0)]
    passes, open_bound = 0, None
    while heap:
        minus, chosen, value = heapq.heappop(heap)
        if -minus < best - slack:
            break
        if passes == min(UNPRICED, most_passes) and not math.isfinite(prices):  # the pairs do not settle it
            prices, earns = _prices(product, rules, size, best, slack)
            heap = [(-math.inf, (), 0.0)]
            continue
        if passes >= most_passes and chosen:
            open_bound = -minus + slack
            break
        open_to = rules.open_to(chosen)
        if chosen:
            open_to[: chosen[-1] + 1] = False
        adds = alone if not chosen else adds_to[list(chosen)].min(0)
        if len(chosen) > 1:
            passes += 1
            adds = np.minimum(adds, gains(product, product[list(chosen)].max(0)))
        left = size - len(chosen)
        places = np.flatnonzero(open_to)
        if left == 1:
            for place in places[value + adds[places] >= best - slack]:
                reached = float(value + adds[place])
                kept[(*chosen, int(place))] = reached
                best = max(best, reached)
            continue
        priced = prices + float(earns[list(chosen)].sum())
        for at, place in enumerate(places[: len(places) - left + 1]):
            later = places[at + 1 :]
            by_pairs = np.minimum(adds[later], adds_to[place, later])
            reach = min(
                float(value + adds[place] + _largest(by_pairs, left - 1)),
                priced + float(earns[place]) + _largest(earns[later], left - 1),
            )
            if reach >= best - slack:
                heapq.heappush(heap, (-reach, (*chosen, int(place)), float(value + adds[place])))
    near = [chosen for chosen, value in kept.items() if value >= best - slack]
    return (near, open_bound) if near else None


def _passes(most_looks: float, product: np.ndarray) -> int:
    return int(min(most_looks / product.size, MOST_PASSES * max(most_looks / LOOKS, 1.0)))


def _largest(values: np.ndarray, count: int) -> float:
    """Sum of the `count` largest."""
    if count >= len(values):
        return float(values.sum())
    return float(np.partition(values, len(values) - count)[len(values) - count :].sum())


def _prices(product: np.ndarray, rules: Rules, size: int, best: float, slack: float) -> tuple[float, np.ndarray]:
    """(sum of the cells' prices, (n,) what each place earns over them) with a low bound, by subgradient steps.

    A step follows the cells that the best earners serve more than once, or not at all; its length is that of M. Held,
    P. Wolfe and H. Crowder (Mathematical Programming 6, 1974, pages 62 to 88), halved after five steps without gain.
    """
    place = len(product) - size if len(product) > size else 0
    blocks = (product[:, start : start + BLOCK] for start in range(0, product.shape[1], BLOCK))
    price = np.concatenate([np.partition(block, place, axis=0)[place] for block in blocks])
    held, length, without = (0.0, np.full(len(product), np.inf)), 2.0, 0
    lowest = math.inf
    for _ in range(PRICINGS):
        earns = gains(product, price)
        total = float(price.sum(dtype=float))
        top = _best_earners(earns, rules, size)
        bound = total + float(earns[top].sum())
        if bound < lowest - slack / 4:
            lowest, held, without = bound, (total, earns), 0
        else:
            without += 1
            if without == 5:
                length, without = length / 2, 0
        if lowest <= best + slack or length < 0.01:
            break
        step = 1.0 - (product[top] > price).sum(0)
        norm = float((step**2).sum())
        if norm == 0:
            break
        price = np.maximum(price - np.float32(length * (bound - best) / norm) * step.astype(np.float32), np.float32(0))
    return held


def _best_earners(earns: np.ndarray, rules: Rules, size: int) -> np.ndarray:
    """Positions of the places that earn most, at most `most` of each kind, whatever their distance."""
    taken: list[int] = []
    room = list(rules.most)
    for place in np.argsort(-earns, kind="stable"):
        if room[rules.kind[place]] > 0:
            room[rules.kind[place]] -= 1
            taken.append(int(place))
            if len(taken) == size:
                break
    return np.array(taken, int)


def _greedy(
    product: np.ndarray, rules: Rules, smaller: Sequence[int], size: int
) -> tuple[tuple[int, ...], float] | None:
    """A good set to start from: one place more, then each changed for a better one until none is."""
    chosen = list(smaller)
    while len(chosen) < size:
        open_to = rules.open_to(chosen)
        if not open_to.any():
            return None
        adds = np.where(open_to, gains(product, product[chosen].max(0)), -1.0)
        chosen.append(int(np.argmax(adds)))
    value = float(product[chosen].max(0).sum(dtype=float))
    changed = True
    while changed:
        changed = False
        for k in range(size):
            others = chosen[:k] + chosen[k + 1 :]
            held = product[others].max(0)
            adds = np.where(rules.open_to(others), gains(product, held), -1.0)
            place, reached = int(np.argmax(adds)), float(held.sum(dtype=float) + adds.max())
            if reached > value * (1 + ROUNDING):
                chosen, value, changed = [*others, place], reached, True
    return tuple(chosen), value


def pair_values(product: np.ndarray) -> np.ndarray:
    """(n, n) value of each pair, on the diagonal of each place alone. product (n, m) float32: probability x value."""
    count = len(product)
    tiles = -(-count // TILE)
    corners = np.array([(a, b) for a in range(tiles) for b in range(a, tiles)], np.int64).reshape(-1, 2)
    out = np.zeros((count, count))
    _pairs(product, corners, out)
    return np.maximum(out, out.T)


def gains(product: np.ndarray, held: np.ndarray) -> np.ndarray:
    """(n,) what each place adds where `held` (m,) float32 is served already."""
    out = np.zeros(len(product))
    if product.size <= ALONE:
        _gains_alone(product, held, out)
    else:
        _gains(product, held, out)
    return out


@njit(cache=True, nogil=True, parallel=True, fastmath=SUMS)
def _pairs(product, corners, out):
    count, cells = product.shape
    for t in prange(corners.shape[0]):
        top, left = corners[t, 0] * TILE, corners[t, 1] * TILE
        for start in range(0, cells, BLOCK):
            end = min(start + BLOCK, cells)
            for i in range(top, min(top + TILE, count)):
                for j in range(max(left, i), min(left + TILE, count)):
                    a, b = product[i, start:end], product[j, start:end]
                    total = np.float32(0.0)
                    for c in range(a.size):
                        total += a[c] if a[c] > b[c] else b[c]
                    out[i, j] += total


@njit(cache=True, nogil=True, fastmath=SUMS)
def _gain(served, held):
    whole = np.float64(0.0)
    for start in range(0, served.size, BLOCK):
        end = min(start + BLOCK, served.size)
        a, b = served[start:end], held[start:end]
        total = np.float32(0.0)
        for c in range(a.size):
            more = a[c] - b[c]
            total += more if more > np.float32(0.0) else np.float32(0.0)
        whole += total
    return whole


@njit(cache=True, nogil=True, parallel=True)
def _gains(product, held, out):
    for i in prange(product.shape[0]):
        out[i] = _gain(product[i], held)


@njit(cache=True, nogil=True)
def _gains_alone(product, held, out):
    for i in range(product.shape[0]):
        out[i] = _gain(product[i], held)
