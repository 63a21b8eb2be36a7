"""How kernels are compiled: once for all numbers, linked once, in any numba, and numba is left as it was found."""

from __future__ import annotations

import gc
import math
import sys
import threading
from pathlib import Path
from typing import Any

import numba
import pytest
from numba.core import config, event
from numba.core.types.functions import BaseFunction

from ridesim import compiling, jit, taken_in
from ridesim.physics import heat
from ridesim.physics.pack import charge_out_of_reach


@pytest.fixture(autouse=True)
def _nothing_cached(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jit, "cache_folder", lambda: str(tmp_path))


def a_tree() -> tuple[Any, Any]:
    """Return a kernel that takes in two others, which both take in the same leaf, and the leaf."""

    @jit.inner_kernel
    def leaf(x: float, n: int, doubled: bool) -> float:
        """Return x^n, or twice that."""
        return (2.0 if doubled else 1.0) * x**n

    @jit.inner_kernel
    def left(x: float) -> float:
        """Return x^2 + 2 x^3."""
        return leaf(x, 2, False) + leaf(x, 3, True)

    @jit.rare_kernel
    def right(x: float, n: int) -> float:
        """Return x^n - x."""
        return leaf(x, n, n < 0) - leaf(x, 1, False)

    @jit.kernel
    def both(x: float, n: int) -> float:
        """Return the sum of both."""
        return left(x) + right(x, n)

    return both, leaf


def in_plain_python(x: float, n: int) -> float:
    return x**2 + 2.0 * x**3 + (2.0 if n < 0 else 1.0) * x**n - x


@pytest.mark.parametrize("known", [True, False])
def test_a_tree_of_kernels_gives_what_plain_python_gives_whatever_the_numba(
    known: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (compiling, taken_in):
        monkeypatch.setattr(module, "IS_KNOWN", known and compiling.IS_KNOWN)
    both, _ = a_tree()
    for x, n in ((1.5, 4), (0.3, -2)):
        assert both(x, n) == pytest.approx(in_plain_python(x, n), rel=1e-15)


def test_a_kernel_is_compiled_once_for_all_whole_numbers_that_are_written_out() -> None:
    both, leaf = a_tree()
    both(1.5, 4)
    assert len(leaf.signatures) == 1, leaf.signatures


@pytest.mark.skipif(not compiling.IS_KNOWN, reason="another numba goes its own way")
def test_what_kernels_take_in_is_linked_once_and_has_no_machine_code(monkeypatch: pytest.MonkeyPatch) -> None:
    read, threads = [], set()
    before = taken_in._Unfinished._read

    def counted(self: Any, code: str) -> Any:
        read.append(self)
        threads.add(threading.current_thread().name)
        return before(self, code)

    monkeypatch.setattr(taken_in._Unfinished, "_read", counted)
    linked = []
    monkeypatch.setattr(taken_in, "_own_code", lambda each: linked.append(each) or _own(each))
    both, _ = a_tree()
    both(1.5, 4)
    assert len(read) == 3  # the leaf and both of its callers
    assert all(linked.count(each) == 1 for each in read)
    assert all(each.get_pointer_to_function("any") == 0 for each in read)
    assert {name.rpartition("_")[0] for name in threads} == {"llvm"}


_own = taken_in._own_code


@pytest.mark.skipif(not compiling.IS_KNOWN, reason="another numba goes its own way")
def test_names_and_numbers_may_change_their_kind() -> None:
    @jit.inner_kernel
    def changes(x: float) -> float:
        """Return x + x/2, by a name that is a tuple first, and a whole number between."""
        found: Any = (x, x)
        half = 0.5 * found[0]
        found = 0
        for _ in range(2):
            found = found + half
        return found + half

    @jit.inner_kernel
    def widens(x: float, more: bool) -> float:
        """Return 1 or 1 + x/2."""
        found: float = 1
        if more:
            found = found + 0.5 * x
        return found

    @jit.kernel
    def adds(x: float) -> float:
        """Return both."""
        return 100.0 * changes(x) + widens(x, True) + widens(x, False)

    assert adds(1.0) == 152.5


def test_somebody_elses_function_may_call_kernels_and_what_they_take_in() -> None:
    @numba.njit
    def theirs(x: float) -> float:
        return heat.body_to_air(1.0, 2.0, 0.5, 1.0, x) + charge_out_of_reach(0.1, 30_000.0, x)

    growth = math.expm1(30_000.0 / 8.314462618 * (1.0 / 277.15 - 1.0 / 293.15))  # CODATA's gas constant
    assert theirs(4.0) == pytest.approx(1.0 + 2.0 * 4.0**0.5 + 0.1 * growth, rel=1e-9)


def test_numba_and_python_are_left_as_they_were_found() -> None:
    def found() -> tuple[Any, ...]:
        return (
            sys.getswitchinterval(), event.start_event, event.end_event, config.reload_config,
            BaseFunction.get_call_type, gc.isenabled(), [each.name for each in threading.enumerate()],
        )  # fmt: skip

    before = found()
    both, _ = a_tree()
    both(1.5, 4)
    assert found() == before
    wrong, _ = a_tree()
    with pytest.raises(numba.TypingError):
        wrong("a word", 4)
    assert found() == before
    assert gc.get_freeze_count() < jit.PYTHONS_OWN


def test_what_somebody_keeps_frozen_stays_frozen() -> None:
    gc.freeze()
    try:
        kept = gc.get_freeze_count()
        both, _ = a_tree()
        both(1.5, 4)
        assert gc.get_freeze_count() >= 0.9 * kept > 0
    finally:
        gc.unfreeze()


def test_outside_a_compile_work_beside_is_done_at_once() -> None:
    done = []
    assert compiling.beside(lambda word: done.append(threading.current_thread()) or len(word), "four").result() == 4
    assert done == [threading.current_thread()]
