"""What a new plan may take over from the plan before it: results whose every input is the same by content.

Nothing is declared by hand. While a step runs, it is watched: each field of the study and of the mission that it
reads is noted, and kept with the result. Next time the result is taken over only if every one of these fields has the
same fingerprint; a step that read nothing else cannot have come out otherwise. Steps that get all they need as
arguments (reading a file, say) are kept by the fingerprints of the arguments, files by content.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import cache, cached_property
from types import FunctionType, MethodType
from typing import Any, TypeVar, cast

from pydantic import BaseModel

from siteplanner.planning.study.fingerprint import Digests
from siteplanner.planning.study.spot import Spot

T = TypeVar("T")
ROOT = "siteplanner."
WORDS = {  # steps worth telling, in the order told
    "elevation": "Elevation",
    "roads": "Road network",
    "sky_limit": "Satellite line over the ground",
    "choices": "Backhaul of the ground",
    "coverage": "Coverage",
    "sky": "Sky of the spots",
    "access": "Routes",
}


@dataclass(frozen=True, eq=False)
class Kept:
    """Results of one run with what each depends on. Keyed by step and place; held by the plan."""

    results: dict[tuple[str, str], _Result] = field(default_factory=dict)

    def joined(self, newer: Kept | None) -> Kept:
        """What either holds; the newer one goes first."""
        return Kept({**self.results, **newer.results}) if newer is not None else self


@dataclass(frozen=True, eq=False)
class _Result:
    given: str  # fingerprint of the arguments
    read: dict[str, str]  # field that was read -> its fingerprint
    value: Any


class Reuse:
    """One run's view of the run before it.

    `kept` fills with what this run can lend to the next; `tally` counts (taken over, all) for each step.
    """

    def __init__(self, previous: Kept | None = None) -> None:
        self._previous = previous or Kept()
        self._digests = Digests()
        self._properties: dict[tuple[int, str], dict[str, str]] = {}
        self.kept = Kept()
        self.tally: dict[str, tuple[int, int]] = {}

    def call(self, step: str, function: Callable[..., T], *args: Any, **named: Any) -> T:
        """`function` of exactly these arguments; it must depend on nothing else. Paths stand for what they hold."""
        given = self._given((args, named))
        held = self._previous.results.get((step, given)) if given else None
        value = held.value if held is not None else function(*args, **named)
        self._count(step, held is not None)
        if given:
            self.kept.results[step, given] = _Result(given, {}, value)
        return cast(T, value)

    def watched(self, step: str, root: Any, function: Callable[..., T], *args: Any, also: Any = None) -> T:
        """`function(root, *args)`, where all that it reads of `root` is noted.

        `also` is part of what the result depends on without being an argument (the date, say).
        """
        given = self._given((args, also))
        held = self._previous.results.get((step, given)) if given else None
        if held is not None and not self._same(held, root):
            held = None
        if held is None:
            read: dict[str, str] = {}
            try:
                value: Any = function(_Watched(root, "", read, self), *args)
            except _CannotWatch:
                self._count(step, False)
                return function(root, *args)
            held = _Result(given, read, value)
            self._count(step, False)
        else:
            self._count(step, True)
        if given:
            self.kept.results[step, given] = held
        return cast(T, held.value)

    def at_spot(self, step: str, root: Any, function: Callable[..., T], spot: Spot, *args: Any, also: Any = None) -> T:
        """As `watched` for one place. The spot comes without its name, which no result may hold."""
        place = replace(spot, name="", grid_reference="", origin="search")
        return self.watched(step, root, function, place, *args, also=also)

    def _given(self, value: Any) -> str:
        try:
            return self._digests.of(value)
        except TypeError:
            return ""  # cannot be compared: never taken over

    def _same(self, held: _Result, root: Any) -> bool:
        return all(self._digest_at(root, path) == digest for path, digest in held.read.items())

    def _digest_at(self, root: Any, path: str) -> str:
        value = root
        for name in filter(None, path.split(".")):
            if name.endswith("?"):
                value = name[:-1] in value
            elif isinstance(value, Mapping):
                value = value.get(name)
            elif hasattr(value, name):
                value = getattr(value, name)
            else:
                return ""
        try:
            return self._digests.of(value)
        except TypeError:
            return ""

    def note(self, read: dict[str, str], path: str, value: Any) -> None:
        """Write down that a field was read."""
        if path not in read:
            try:
                read[path] = self._digests.of(value)
            except TypeError:
                raise _CannotWatch(path) from None

    def _count(self, step: str, taken_over: bool) -> None:
        mine, all_ = self.tally.get(step, (0, 0))
        self.tally[step] = (mine + taken_over, all_ + 1)


class _CannotWatch(Exception):
    """A field without a fingerprint was read: the step runs unwatched and is not kept."""


class _Watched:
    """Looks like a study, a mission, one of its tables or a dict; notes which fields are read."""

    def __init__(self, real: Any, path: str, read: dict[str, str], reuse: Reuse) -> None:
        self.__dict__.update(_real=real, _path=path, _read=read, _reuse=reuse)

    def __getattr__(self, name: str) -> Any:
        real, path = self._real, self._path
        if isinstance(real, Mapping):
            return self._of_mapping(name)
        if name in _field_names(cast(Hashable, type(real))):
            return self._field(name, getattr(real, name))
        own = next(
            (vars(c)[name] for c in type(real).__mro__ if name in vars(c) and c.__module__.startswith(ROOT)), None
        )
        if isinstance(own, property) and own.fget is not None:
            return own.fget(self)
        if isinstance(own, cached_property):
            return self._cached(name, own)
        if isinstance(own, FunctionType):
            return MethodType(own, self)
        self._reuse.note(self._read, path, real)  # anything else may look at all of it
        return getattr(real, name)

    def __setattr__(self, name: str, value: Any) -> None:
        raise AttributeError(f"a step must not change what it reads ({name})")

    def _field(self, name: str, value: Any) -> Any:
        path = f"{self._path}.{name}" if self._path else name
        if _is_watchable(cast(Hashable, type(value))):
            return _Watched(value, path, self._read, self._reuse)
        self._reuse.note(self._read, path, value)
        return value

    def _cached(self, name: str, own: cached_property) -> Any:
        """Worked out once for the real object; what that read counts as read by everyone who asks for it."""
        key = (id(self._real), name)
        if key not in self._reuse._properties:
            read: dict[str, str] = {}
            value = own.func(_Watched(self._real, self._path, read, self._reuse))
            self._real.__dict__.setdefault(name, value)
            self._reuse._properties[key] = read
        self._read.update(self._reuse._properties[key])
        return self._real.__dict__[name]

    def _of_mapping(self, name: str) -> Any:
        if name == "get":
            return self._get
        self._reuse.note(self._read, self._path, self._real)
        return getattr(self._real, name)

    def _get(self, key: str, default: Any = None) -> Any:
        return self[key] if self._noted(key) in self._real else default

    def _noted(self, key: str) -> str:
        self._reuse.note(self._read, f"{self._path}.{key}?", key in self._real)
        return key

    def __getitem__(self, key: str) -> Any:
        return self._field(self._noted(key), self._real[key])

    def __contains__(self, key: str) -> bool:
        return self._noted(key) in self._real

    def __iter__(self) -> Any:
        self._reuse.note(self._read, self._path, self._real)
        return iter(self._real)

    def __len__(self) -> int:
        self._reuse.note(self._read, self._path, self._real)
        return len(self._real)


@cache
def _field_names(kind: type) -> frozenset[str]:
    if issubclass(kind, BaseModel):
        return frozenset(kind.model_fields)
    return frozenset(f.name for f in fields(kind)) if is_dataclass(kind) else frozenset()


@cache
def _is_watchable(kind: type) -> bool:
    """Containers looked into field by field; all else counts as a whole."""
    from siteplanner.planning.study.study import Study

    return issubclass(kind, (Study, BaseModel, dict))


def reused_sentences(tally: Mapping[str, tuple[int, int]]) -> list[str]:
    """What was taken over from the check or the run before, in words; empty when nothing was."""
    out = []
    for step, words in WORDS.items():
        mine, all_ = tally.get(step, (0, 0))
        if not mine:
            continue
        if all_ == 1:
            out.append(f"{words} taken over.")
        else:
            out.append(f"{words} taken over for {mine} of {all_} places.")
    return out
