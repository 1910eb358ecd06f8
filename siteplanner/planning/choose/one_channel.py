"""Sets of trailers that send on one channel and disturb each other: `core.interference`.

On one channel no set serves more than with a channel each, so that the value with channels of their own is the bound:
pairs are looked at from the best bound down until no bound is above the best pair found, which is then the best of
all. Larger sets start from there, one more and then each changed for a better one; their bound stands beside them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from siteplanner.core.interference import addition_worths, pair_worths, rise_db, shared_margin_db, shared_probability
from siteplanner.core.maximal_cover import ROUNDING, BestSet, Rules, pair_values
from siteplanner.planning.spots.levels import Levels

AT_ONCE = 512  # pairs looked at before the bound is asked again
MOST_CHANGES = 24  # tried of a larger set


@dataclass(frozen=True, eq=False)
class Channel:
    """Spots on one channel. `most`: the highest probability that a cell or point is told.

    `must`: columns that a set has to serve at `chance_needed` or better; each counts `price` before the value.
    """

    levels: tuple[Levels, ...]
    value: np.ndarray
    load: float
    most: np.ndarray
    must: tuple[int, ...] = ()
    chance_needed: float = 1.0
    price: float = 0.0

    def probabilities(self, which: Sequence[int]) -> np.ndarray:
        """(k, cells) of service by each of some spots while all of them send."""
        held = [self.levels[i] for i in which]
        margin = shared_margin_db(
            np.array([one.margin_db for one in held], float),
            np.array([one.signal_db for one in held], float),
            np.array([one.sent_db for one in held], float),
            np.array([one.needed_snr_db for one in held]),
            self.load,
        )
        served = [
            shared_probability(margin[k : k + 1], one.sigma_db, one.reached[None])[0] for k, one in enumerate(held)
        ]
        return np.minimum(np.array(served), self.most)

    def worth(self, which: Sequence[int]) -> float:
        """Value of a set."""
        return float((self.probabilities(which).max(0) * self.value).sum()) if len(which) else 0.0

    @cached_property
    def _at_must(self) -> Channel:
        """The same spots, the columns that must be served alone."""
        at = list(self.must)
        levels = tuple(
            replace(one, margin_db=one.margin_db[at], signal_db=one.signal_db[at], sent_db=one.sent_db[at],
                    reached=one.reached[at])
            for one in self.levels
        )  # fmt: skip
        return Channel(levels, self.value[at], self.load, self.most[at])

    def kept(self, which: Sequence[int]) -> int:
        """How many of the columns that must be served a set serves while all of it sends."""
        if not self.must:
            return 0
        return int((self._at_must.probabilities(which).max(0) >= self.chance_needed).sum())

    def ranked_by(self, which: Sequence[int]) -> float:
        """What sets are ordered by: what must be served first, then the value."""
        return self.worth(which) + self.price * self.kept(which)

    @cached_property
    def _stacked(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """What `core.interference.pair_worths` takes of all spots."""
        own = [np.where(one.reached & ~np.isnan(one.margin_db), one.margin_db, -np.inf) for one in self.levels]
        left = [np.nan_to_num(one.signal_db - one.needed_snr_db, nan=-np.inf) for one in self.levels]
        lifts = [np.nan_to_num(rise_db(one.sent_db, self.load), nan=np.inf) for one in self.levels]
        sigma = np.array([max(one.sigma_db, 1e-3) for one in self.levels])
        return np.array(own, np.float32), np.array(left, np.float32), np.array(lifts, np.float32), sigma

    def pairs(self, pairs: np.ndarray) -> np.ndarray:
        """(pairs,) what each pair is ordered by, the value by a table; named points are not held down to `most`."""
        values = pair_worths(*self._stacked, self.value, pairs)
        return values + self.price * np.array([self.kept((int(a), int(b))) for a, b in pairs]) if self.must else values

    def additions(self, chosen: Sequence[int], added: np.ndarray) -> np.ndarray:
        """(added,) what some spots and one more are ordered by, the value by a table."""
        own, left, lifts, sigma = self._stacked
        power = np.float32(10) ** (lifts / np.float32(10)) - np.float32(1)
        values = addition_worths(own, left, power, sigma, self.value, np.array(chosen), added)
        return values + self.price * np.array([self.kept([*chosen, int(i)]) for i in added]) if self.must else values


def sets_on_one_channel(
    channel: Channel, served: np.ndarray, apart: Mapping[int, BestSet], rules: Rules
) -> dict[int, BestSet]:
    """The best sets on one channel. served, apart: what each spot serves alone, the best sets with a channel each.

    The bound of a set that serves less of what must be served than those with a channel each is left open.
    """
    out = {1: apart[1]}
    if 2 in apart:
        out[2] = _best_pair(channel, served, rules)
    for size in sorted(size for size in apart if size > 2):
        grown = _grown(channel, out[size - 1].chosen, rules)
        if grown is None:
            break
        value, bound = channel.worth(grown), apart[size].bound
        if channel.must and channel.kept(grown) < _kept_apart(channel, served, apart[size].chosen):
            bound = 1.0
        out[size] = BestSet(grown, value, max(bound, value), bound <= value)
    return out


def _kept_apart(channel: Channel, served: np.ndarray, chosen: Sequence[int]) -> int:
    """How many of the columns that must be served a set serves with a channel each."""
    return int((_keeps(channel, served)[list(chosen)]).any(0).sum())


def _keeps(channel: Channel, served: np.ndarray) -> np.ndarray:
    """(n, columns that must be served) bool, each spot alone; float32 may miss the chance by its last digit."""
    return served[:, list(channel.must)] >= channel.chance_needed - 1e-6


def addition_on_one_channel(channel: Channel, at: int, rules: Rules) -> int | None:
    """The best second trailer beside one; None where the rules leave none."""
    open_to = np.flatnonzero(rules.open_to([at]))
    if not len(open_to):
        return None
    pairs = np.column_stack([np.full(len(open_to), at), open_to])
    return int(open_to[int(np.argmax(channel.pairs(pairs)))])


def _best_pair(channel: Channel, served: np.ndarray, rules: Rules) -> BestSet:
    """Every pair whose bound is above the best one found."""
    bound = pair_values(np.ascontiguousarray(served * channel.value, np.float32))
    if channel.must:
        keeps = _keeps(channel, served)
        bound = bound + channel.price * (keeps[:, None] | keeps).sum(2)
    allowed = np.triu(rules.together(), 1)
    pairs = np.argwhere(allowed)
    reach = bound[pairs[:, 0], pairs[:, 1]]
    order = np.argsort(-reach, kind="stable")
    pairs, reach = pairs[order], reach[order]
    slack = ROUNDING * max(float(reach.max(initial=0.0)), 1e-300)
    best, chosen = -1.0, (0, 0)
    for start in range(0, len(pairs), AT_ONCE):
        if reach[start] < best - slack:
            break
        some = pairs[start : start + AT_ONCE]
        for k in np.argsort(-channel.pairs(some), kind="stable")[:3]:  # the table is off in the seventh figure
            pair = int(some[k][0]), int(some[k][1])
            value = channel.ranked_by(pair)
            if value > best:
                best, chosen = value, pair
    value = channel.worth(chosen)
    return BestSet(chosen, value, value, True)


def _grown(channel: Channel, smaller: Sequence[int], rules: Rules) -> tuple[int, ...] | None:
    chosen = _with_one_more(channel, list(smaller), rules)
    if chosen is None:
        return None
    value, still = channel.ranked_by(chosen), 0
    for turn in range(MOST_CHANGES):
        others = [c for k, c in enumerate(chosen) if k != turn % len(chosen)]
        changed = _with_one_more(channel, others, rules)
        if changed is not None and channel.ranked_by(changed) > value + 1e-9:
            chosen, value, still = changed, channel.ranked_by(changed), 0
            continue
        still += 1
        if still == len(chosen):
            break
    return tuple(sorted(chosen))


def _with_one_more(channel: Channel, chosen: list[int], rules: Rules) -> list[int] | None:
    open_to = np.flatnonzero(rules.open_to(chosen))
    if not len(open_to):
        return None
    return [*chosen, int(open_to[int(np.argmax(channel.additions(chosen, open_to)))])]
