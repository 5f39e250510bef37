"""Disks that fail: one on top of the real file system, one in memory that forgets what was not synced."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations
from pathlib import Path
from typing import Any

from probe.document.file.disk import Disk, FileFacts

CHANGING = ("make_folder", "create", "take_access", "write", "sync", "close", "link", "rename", "remove", "sync_folder")


class PowerCut(BaseException):
    """The machine stopped. Nothing after it happens."""


def names_in(folder: Path) -> set[str]:
    """Names in a folder."""
    return {path.name for path in folder.iterdir()}


@dataclass
class FailingDisk(Disk):
    """The real disk, until the call number `fails_at` (from 0) among those that change something.

    That call raises `error`: OSError as from the system, or PowerCut, after which every later call raises as well. A
    write is done by half before. `afterwards` lets the call happen first.
    """

    fails_at: int = -1
    error: BaseException | None = None
    afterwards: bool = False
    calls: list[str] = field(default_factory=list)
    dead: bool = False

    def _do(self, name: str, *arguments: Any) -> Any:
        if self.dead:
            raise PowerCut
        index = len(self.calls)
        self.calls.append(name)
        act = getattr(Disk, name)
        if index != self.fails_at:
            return act(self, *arguments)
        assert self.error is not None
        if self.afterwards:
            made = act(self, *arguments)
            if name == "create":
                os.close(made)
        elif name == "write":
            descriptor, data = arguments
            act(self, descriptor, data[: len(data) // 2])
        elif name == "close":
            act(self, *arguments)  # close gives the descriptor back even when it reports an error
        self.dead = isinstance(self.error, PowerCut)
        raise self.error


def _forwarding(name: str) -> Any:
    def call(self: FailingDisk, *arguments: Any) -> Any:
        return self._do(name, *arguments)

    return call


for _name in CHANGING:
    setattr(FailingDisk, _name, _forwarding(_name))


class NoLinksDisk(Disk):
    """A file system without second names, as on memory sticks."""

    def link(self, path: Path, new: Path) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))


class FlippingDisk(Disk):
    """A disk or a memory in which one bit of what is written turns over on the way, as long as `flips`."""

    def __init__(self, at: float) -> None:
        self.at, self.flips = at, True

    def write(self, descriptor: int, data: bytes) -> None:
        held = bytearray(data)
        if self.flips:
            held[int(self.at * (len(held) - 1))] ^= 1
        super().write(descriptor, bytes(held))


@dataclass
class _File:
    now: bytes = b""
    synced: bytes = b""


class ForgetfulDisk(Disk):
    """One folder in memory. What was not synced may be lost at a power cut, in part or in any order.

    `after_power_cut` gives every state that the folder may then be in: each subset of the changes of names since the
    last sync of the folder, and for files that were not synced the old content, the new one, or a part of it.
    """

    def __init__(self, links: bool = True) -> None:
        self.links = links
        self.files: list[_File] = []
        self.names_now: dict[str, int] = {}
        self.names_synced: dict[str, int] = {}
        self.pending: list[tuple[str, int | None]] = []
        self.cut_at = -1
        self.calls = 0

    def _tick(self) -> None:
        if self.calls == self.cut_at:
            raise PowerCut
        self.calls += 1

    def _name(self, path: Path, index: int | None) -> None:
        self.pending.append((path.name, index))
        if index is None:
            self.names_now.pop(path.name, None)
        else:
            self.names_now[path.name] = index

    def facts(self, path: Path) -> FileFacts | None:
        if path.name not in self.names_now:
            return None
        index = self.names_now[path.name]
        size = len(self.files[index].now)
        return FileFacts(regular=True, mode=0o644, user=0, group=0, size=size, identity=(index, size, 0))

    def read(self, path: Path) -> bytes:
        return self.files[self.names_now[path.name]].now

    def create(self, path: Path, mode: int) -> int:
        self._tick()
        assert path.name not in self.names_now
        self.files.append(_File())
        self._name(path, len(self.files) - 1)
        return len(self.files) - 1

    def take_access(self, descriptor: int, like: FileFacts) -> None:
        self._tick()

    def write(self, descriptor: int, data: bytes) -> None:
        self._tick()
        self.files[descriptor].now += data

    def sync(self, descriptor: int) -> None:
        self._tick()
        self.files[descriptor].synced = self.files[descriptor].now

    def close(self, descriptor: int) -> None:
        self._tick()

    def link(self, path: Path, new: Path) -> None:
        self._tick()
        if not self.links:
            raise OSError(errno.EPERM, os.strerror(errno.EPERM))
        self._name(new, self.names_now[path.name])

    def rename(self, path: Path, new: Path) -> None:
        self._tick()
        index = self.names_now[path.name]
        if self.names_now.get(new.name) == index:
            return  # POSIX: two names of one file, nothing happens
        self._name(new, index)
        self._name(path, None)

    def remove(self, path: Path) -> None:
        self._tick()
        if path.name in self.names_now:
            self._name(path, None)

    def sync_folder(self, folder: Path) -> None:
        self._tick()
        self.names_synced = dict(self.names_now)
        self.pending.clear()

    def after_power_cut(self, name: str) -> Iterator[bytes | None]:
        """Every content that a name may have after a power cut now; None if the name may be gone."""
        for length in range(len(self.pending) + 1):
            for chosen in combinations(self.pending, length):
                names = dict(self.names_synced)
                for changed, index in chosen:
                    if index is None:
                        names.pop(changed, None)
                    else:
                        names[changed] = index
                if name not in names:
                    yield None
                    continue
                file = self.files[names[name]]
                yield file.synced
                yield file.now
                if file.synced != file.now:
                    yield file.now[: len(file.now) // 2]
