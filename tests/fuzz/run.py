"""Runs the targets, and says which lines of the readers the inputs reached."""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import CodeType, FrameType, ModuleType
from typing import Any

from tests.fuzz.targets import TARGETS, Target


class FuzzError(AssertionError):
    """A target failed; the input is in the text."""


def fuzz(target: Target, *, inputs: int, seed: int) -> None:
    """Run so many inputs. Raises FuzzError with the input and what happened."""
    for _ in _inputs(target, inputs=inputs, seed=seed):
        pass


def _inputs(target: Target, *, inputs: int, seed: int) -> Iterator[None]:
    """After each input that did no harm."""
    rng = random.Random(f"{target.name} {seed}")
    mutator = target.make(rng)
    for number in range(inputs):
        data = mutator.make()
        try:
            target.run(data)
        except Exception as exc:
            words = f"{target.name}, seed {seed}, input {number}: {exc!r}\n{data!r}"
            raise FuzzError(words) from exc
        yield


def shares(total: int) -> Iterator[tuple[Target, int]]:
    """Each target with its part of the inputs."""
    whole = sum(target.share for target in TARGETS)
    for target in TARGETS:
        yield target, max(1, -(-total * target.share // whole))


def _function_lines(path: str) -> set[int]:
    """Lines inside functions: those of the module's own level run at import."""
    module = compile(Path(path).read_text(encoding="utf-8"), path, "exec")
    inner: set[int] = set()
    stack = [c for c in module.co_consts if isinstance(c, CodeType)]
    while stack:
        code = stack.pop()
        stack += [c for c in code.co_consts if isinstance(c, CodeType)]
        if code.co_flags & 0x2:  # a function's code, not a class body
            inner |= {line for _, _, line in code.co_lines() if line} - {code.co_firstlineno}
    return inner


@contextmanager
def _tracing(files: set[str], seen: set[tuple[str, int]]) -> Iterator[None]:
    def local(frame: FrameType, event: str, argument: Any) -> Any:
        seen.add((frame.f_code.co_filename, frame.f_lineno))
        return local

    def called(frame: FrameType, event: str, argument: Any) -> Any:
        return local if frame.f_code.co_filename in files else None

    before = sys.gettrace()
    sys.settrace(called)
    try:
        yield
    finally:
        sys.settrace(before)


def coverage(target: Target, *, inputs: int, seed: int, enough: float = 1.0) -> tuple[int, int]:
    """(lines reached, lines there are) in the functions of the target's modules, by so many inputs at most.

    It stops once more than the share `enough` is reached: tracing makes each input slow.
    """
    files = {str(m.__file__) for m in target.modules if isinstance(m, ModuleType)}
    there = {(file, line) for file in files for line in _function_lines(file)}
    seen: set[tuple[str, int]] = set()
    with _tracing(files, seen):
        for _ in _inputs(target, inputs=inputs, seed=seed):
            if len(seen & there) > enough * len(there):
                break
    return len(seen & there), len(there)
