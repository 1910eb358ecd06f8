"""A set of files put in the place of the one before, in one step where the system has such a step.

Files are written into a work folder first. Where the system can exchange two folders (`renameat2`, Linux) the work
folder takes up what else stands in the target (as further names of the same files) and then changes places with it:
whoever looks, or kills the program, sees the old set or the new one whole. Elsewhere (another system, a stick's own
root, a folder that somebody stands in) each file is replaced in one step, one after the other, what they replace is
kept until all have arrived, and a move that stops half-way is undone: at once, or by the next run into that folder. No
file is missing meanwhile, and a notice stands in the folder for as long as its files are of two runs.

Two runs into one folder take turns. Work folders of runs that were killed are removed by the next run.
"""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import stat
import sys
import tempfile
import time
from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from fnmatch import fnmatchcase
from pathlib import Path

from siteplanner.errors import OutputError
from siteplanner.outputs.turns import held_signals, lock, locks_work, turn
from siteplanner.planning.plan.two_runs import NOTICE, WORDS

MARK = ".writing-"
MOVING, KEPT = "moving", "kept"  # inside a work folder whose files are being moved one by one
MOST_LINKED = 5_000  # other files of the target taken along in the exchange; more are not touched but moved around
_EXCHANGE = 2  # RENAME_EXCHANGE of renameat2(2)
_HERE = -100  # AT_FDCWD
_FORGOTTEN_S = 86_400  # where nothing tells a living run from a killed one, work of a day ago is a dead one's


class HalfMoved(OSError):
    """The move stopped half-way and could not be undone either; what it replaced is kept for the next run."""


class Switch:
    """A work folder for one set of files, and the way from there into the target folder.

    `path` is where the files are to be written, `done` whether they are in place. Use as a context: what is not
    switched when it ends is thrown away.
    Raises OSError where neither the target nor a place for the work can be made.
    """

    def __init__(self, folder: Path) -> None:
        self.folder, self.done = Path(os.path.realpath(folder)), False
        self.folder.parent.mkdir(parents=True, exist_ok=True)
        if self.folder.exists() and not self.folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder))
        with turn(self.folder):
            self.beside = self._beside()
            if not self.beside:
                self.folder.mkdir(exist_ok=True)
                self.path = Path(tempfile.mkdtemp(prefix=MARK, dir=self.folder))
            self._claim = lock(self.path, wait=False)  # tells a run that lives from one that was killed

    def _beside(self) -> bool:
        """Whether the work stands beside the target, from where the two can be exchanged."""
        if os.path.ismount(self.folder) or _stands_in(self.folder) or not _can_exchange():
            return False
        if not os.access(self.folder.parent, os.R_OK):
            return False  # nobody could take turns by it, nor find there what a killed run left
        if self.folder.exists() and not os.access(self.folder, os.W_OK | os.X_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(self.folder))
        try:
            self.path = Path(tempfile.mkdtemp(prefix=f".{self.folder.name[:80]}{MARK}", dir=self.folder.parent))
        except OSError:
            return False
        return True

    def __enter__(self) -> Switch:
        return self

    def __exit__(self, *_: object) -> None:
        if not (self.path / MOVING).exists():  # else it keeps what the next run brings back
            shutil.rmtree(self.path, ignore_errors=True)
        if self._claim is not None:
            os.close(self._claim)

    def now(self, names: Collection[str]) -> list[Path]:
        """Put the files written at `path` in place; files of the target whose names match one of `names` (patterns of
        the shell) and that were not written anew are removed, all others stay.

        Returns the files in place. Raises OSError when that fails: the target is then as it was, but for HalfMoved,
        which the next run puts right.
        """
        written = sorted(path.name for path in self.path.iterdir())
        for name in written:
            _sync(self.path / name)
        with held_signals(), turn(self.folder):
            _swept(self.folder, self.path)
            if not (self.beside and (self._moved() or self._exchanged({*names, *written}))):
                self._one_by_one(written, names)
            _sync(self.folder.parent)
            self.done = True
        return [self.folder / name for name in written]

    def _moved(self) -> bool:
        """Whether the work folder has become the target, which was not there yet."""
        if self.folder.exists():
            return False
        os.chmod(self.path, 0o777 & ~_umask())
        try:
            os.rename(self.path, self.folder)
        except OSError:  # another run was first
            return False
        return True

    def _exchanged(self, ours: Collection[str]) -> bool:
        """Whether the work folder has changed places with the target, with all else that stood there."""
        if not _taken_along(self.folder, self.path, ours):
            return False
        try:
            stood = self.folder.stat()
            if (stood.st_uid, stood.st_gid) != (os.getuid(), os.getgid()):
                os.chown(self.path, stood.st_uid, stood.st_gid)
            shutil.copystat(self.folder, self.path)
            if not _exchange(self.path, self.folder):
                return False
        except OSError:
            return False
        _bring_over(self.path, self.folder, lambda name: _matches(name, ours) or name.startswith(MARK))
        return True

    def _one_by_one(self, written: list[str], names: Collection[str]) -> None:
        work = self.path
        if self.beside:  # a file is moved in one step only within its file system
            work = Path(tempfile.mkdtemp(prefix=MARK, dir=self.folder))
        try:
            if self.beside:
                for name in written:
                    shutil.copy2(self.path / name, work / name)
                    _sync(work / name)
            gone = [
                p.name
                for p in self.folder.iterdir()
                if p.name not in written and p.is_file() and _matches(p.name, names)
            ]
            had = [n for n in (*written, *gone) if os.path.lexists(self.folder / n)]
            (work / KEPT).mkdir()
            for name in had:
                _kept(self.folder / name, work / KEPT / name)
            (self.folder / NOTICE).write_text(WORDS, encoding="utf-8")
            _sync(self.folder / NOTICE)
            _said(work / MOVING, [n for n in written if n not in had])
            try:
                for name in written:
                    os.replace(work / name, self.folder / name)
                for name in gone:
                    os.unlink(self.folder / name)
                os.unlink(work / MOVING)
            except BaseException as error:
                try:
                    _undo(work, self.folder)
                except OSError as second:
                    raise HalfMoved(second.errno, second.strerror, str(work)) from error
                raise
        finally:
            if not (work / MOVING).exists():
                _forget(self.folder / NOTICE)
                if self.beside:
                    shutil.rmtree(work, ignore_errors=True)


def put(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Files by name into a folder, all or nothing; what else stands there stays. Returns where they are.

    Raises OutputError for a folder that cannot be written.
    """
    try:
        with Switch(folder) as switch:
            for name, content in files.items():
                (switch.path / name).write_bytes(content)
            return switch.now(files)
    except OSError as error:
        raise cannot_be_written(folder, error) from error


def cannot_be_written(folder: Path, error: OSError) -> OutputError:
    """What is said of a folder that takes no files."""
    return OutputError(
        f"The folder cannot be written ({error.strerror or error}).",
        remedy="Choose a folder that you may write to.",
        file=folder,
    )


def sweep(folder: Path) -> None:
    """Undo what a killed run left half moved in a folder, and remove its work folders there and beside it."""
    with turn(folder):
        _swept(folder)


def _swept(folder: Path, own: Path | None = None) -> None:
    """As `sweep`, for whoever has the turn. `own`: work that stays."""
    for work in _works(folder):
        if work == own or work.is_symlink():
            continue
        if not work.is_dir():
            _forget(work)
            continue
        claim = lock(work, wait=False)
        try:
            # files are moved by whoever has the turn, and that is us: he is dead, even where somebody holds his claim
            if (work / MOVING).is_file():
                _undo(work, work.parent)
            elif claim is None and _may_live(work):
                continue
            shutil.rmtree(work, ignore_errors=True)
        finally:
            if claim is not None:
                os.close(claim)
    if (folder / NOTICE).exists():
        _forget(folder / NOTICE)


def _works(folder: Path) -> list[Path]:
    beside = folder.parent.glob(f".{_escaped(folder.name[:80])}{MARK}*") if folder.parent.is_dir() else ()
    inside = folder.glob(f"{MARK}*") if folder.is_dir() else ()
    return [*beside, *inside]


def _may_live(work: Path) -> bool:
    """Whether the run of a work folder that cannot be claimed may still go on."""
    if locks_work(work):
        return True
    try:
        return time.time() - work.stat().st_mtime < _FORGOTTEN_S
    except OSError:
        return False


def _kept(source: Path, place: Path) -> None:
    """Give a file a second name, or a second copy where it can have none."""
    try:
        os.link(source, place, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(source, place, follow_symlinks=False)
        if not place.is_symlink():
            _sync(place)


def _said(path: Path, names: Collection[str]) -> None:
    """A list of names in a file that is there whole or not at all."""
    half = path.with_name(f"{path.name}.half")
    half.write_text("\n".join(names), encoding="utf-8")
    _sync(half)
    os.replace(half, path)


def _undo(work: Path, folder: Path) -> None:
    """Bring the earlier files back into their places, and take away those that had no forerunner."""
    for name in (work / MOVING).read_text(encoding="utf-8").splitlines():
        if not (work / name).exists():  # it has been moved into place
            (folder / name).unlink(missing_ok=True)
    for old in (work / KEPT).iterdir():
        os.replace(old, folder / old.name)
    (work / MOVING).unlink()


def _bring_over(old: Path, new: Path, left: Callable[[str], bool]) -> None:
    """What somebody put into a folder, or saved anew there, while its files were taken along goes over too."""
    for entry in list(old.iterdir()):
        place = new / entry.name
        if left(entry.name):
            continue
        if not os.path.lexists(place):
            os.rename(entry, place)
        elif entry.is_dir() and not entry.is_symlink():
            if place.is_dir() and not place.is_symlink():
                _bring_over(entry, place, lambda name: False)
        elif not entry.is_symlink() and not os.path.samestat(entry.lstat(), place.lstat()):
            os.replace(entry, place)


def _forget(path: Path) -> None:
    with suppress(OSError):
        path.unlink(missing_ok=True)


def _matches(name: str, patterns: Collection[str]) -> bool:
    return any(fnmatchcase(name, pattern) for pattern in patterns)


def _taken_along(folder: Path, into: Path, ours: Collection[str]) -> bool:
    """Give every other file of a folder a second name in another; False where that is not possible."""
    count = 0

    def link(source: Path, target: Path, top: bool) -> bool:
        nonlocal count
        with os.scandir(source) as entries:
            for entry in entries:
                if top and entry.name.startswith(MARK):
                    return False  # work of a run that lives: it must stay where it is
                if top and _matches(entry.name, ours):
                    continue
                count += 1
                if count > MOST_LINKED:
                    return False
                place = target / entry.name
                if entry.is_symlink():
                    os.symlink(os.readlink(entry.path), place)
                elif entry.is_dir():
                    if os.path.ismount(entry.path):
                        return False
                    place.mkdir()
                    if not link(Path(entry.path), place, False):
                        return False
                    shutil.copystat(entry.path, place)
                elif stat.S_ISREG(entry.stat(follow_symlinks=False).st_mode):
                    os.link(entry.path, place, follow_symlinks=False)
                else:
                    return False
        return True

    try:
        if link(folder, into, True):
            return True
    except OSError:
        pass
    for entry in list(into.iterdir()):
        if not _matches(entry.name, ours):
            shutil.rmtree(entry, ignore_errors=True) if entry.is_dir() and not entry.is_symlink() else _forget(entry)
    return False


def _stands_in(folder: Path) -> bool:
    """Whether this program was started in the folder: its shell would be left in the old one."""
    try:
        here = Path.cwd().resolve()
    except OSError:
        return False
    return here == folder or folder in here.parents


def _sync(path: Path) -> None:
    """Ask the system to have a file or folder on the disk; a folder cannot be asked everywhere."""
    if not path.is_dir():
        with path.open("rb+") as stream:
            os.fsync(stream.fileno())
        return
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _can_exchange() -> bool:
    return sys.platform.startswith("linux") and hasattr(ctypes.CDLL(None), "renameat2")


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change places in one step; False where the file system has no such step."""
    done = ctypes.CDLL(None, use_errno=True).renameat2(
        _HERE, ctypes.c_char_p(os.fsencode(one)), _HERE, ctypes.c_char_p(os.fsencode(other)), _EXCHANGE
    )
    return done == 0


def _escaped(name: str) -> str:
    from glob import escape

    return escape(name)
