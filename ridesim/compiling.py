"""What numba need not do while the kernels are compiled: half of a first call's wait went into asking again.

It asks anew for each of some two hundred functions what the operators make of numbers and what has been added to numba
since, and tells of every word to LLVM whoever might listen. Nothing of it changes what is compiled.
"""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

import numba
from numba.core import base, config, event
from numba.core.compiler_lock import global_compiler_lock
from numba.core.types import Boolean, Float, Integer
from numba.core.types.functions import BaseFunction

IS_KNOWN = numba.__version__.startswith("0.68.")
"""Whether numba's inside is as it is taken here."""

_TURN_S = 0.0003
"""How long Python runs in one thread before another that waits has its turn: LLVM's thread asks for many short ones."""

_NUMBERS = (Float, Integer, Boolean)


@contextmanager
def no_more_than_needed() -> Iterator[None]:
    """Compile without what changes nothing, with a thread for LLVM beside; another numba goes its own way."""
    if not IS_KNOWN:
        yield
        return
    with global_compiler_lock, numbers_typed_once(), _nobody_told(), _signatures_read_once(), _a_thread_beside():
        yield


@contextmanager
def _a_thread_beside() -> Iterator[None]:
    turn = sys.getswitchinterval()
    _beside.append(None)
    try:
        yield
    finally:
        thread = _beside.pop()
        if thread is not None:
            thread.shutdown()
            sys.setswitchinterval(turn)


_beside: list[ThreadPoolExecutor | None] = []
"""LLVM's thread while kernels are compiled, None before it is needed: what comes from the cache needs none."""


def beside(work: Callable[[str], Any], code: str) -> Future[Any]:
    """Have work done in LLVM's thread, if kernels are being compiled, else at once."""
    if not _beside:
        done: Future[Any] = Future()
        done.set_result(work(code))
        return done
    thread = _beside[-1]
    if thread is None:
        sys.setswitchinterval(_TURN_S)
        thread = _beside[-1] = ThreadPoolExecutor(1, "llvm")
    return thread.submit(work, code)


@contextmanager
def nothing_new(typing: Any, target: Any) -> Iterator[None]:
    """Take what numba's contexts know as complete: it is asked for once, when the kernel that Python calls is.

    What is made of them meanwhile asks once for the size of a type of LLVM's, too.
    """
    with (
        _replaced(config, "reload_config", _nothing),
        _replaced(typing, "refresh", _nothing),
        _replaced(target, "refresh", _nothing),
        _replaced(target, "get_abi_sizeof", _asked_once(target.get_abi_sizeof)),
    ):
        yield


def _asked_once(size_of: Callable[[Any], int]) -> Callable[[Any], int]:
    def asked(kind: Any) -> int:
        """Return the size of a type [bytes]."""
        if id(kind) not in _sizes:
            _sizes[id(kind)] = kind, size_of(kind)
        return _sizes[id(kind)][1]

    return asked


_sizes: dict[int, tuple[Any, int]] = {}
"""Types of LLVM's by their place in memory, each kept so that its place stays its own, and their sizes [bytes]."""


@contextmanager
def _signatures_read_once() -> Iterator[None]:
    with _replaced(base, "_has_loc", functools.cache(base._has_loc)):
        yield


@contextmanager
def _nobody_told() -> Iterator[None]:
    with _replaced(event, "start_event", _nothing), _replaced(event, "end_event", _nothing):
        yield


@contextmanager
def _replaced(owner: Any, name: str, value: Any) -> Iterator[None]:
    own = vars(owner).get(name)
    setattr(owner, name, value)
    try:
        yield
    finally:
        if own is None:
            delattr(owner, name)
        else:
            setattr(owner, name, own)


def _nothing(*_: Any, **__: Any) -> None:
    """Do nothing."""


@contextmanager
def numbers_typed_once() -> Iterator[None]:
    """Ask only once what an operator makes of plain numbers: a fifth of the compile time went into asking again.

    Each `a * b` is held against all that numba and numpy can multiply, arrays and dates among them.
    """
    kind: Any = BaseFunction
    asked, found = kind.get_call_type, dict[Any, Any]()

    def get_call_type(self: Any, context: Any, args: Any, keywords: Any) -> Any:
        """Return the signature as numba finds it, or found it."""
        if keywords or not all(isinstance(each, _NUMBERS) for each in args):
            return asked(self, context, args, keywords)
        key = self, args
        if key not in found:
            found[key] = asked(self, context, args, keywords)
        return found[key]

    with _replaced(kind, "get_call_type", get_call_type):
        yield
