"""The `kernel` decorator: compiled plain-float functions, cached under a hash of their own sources.

Numba's file cache does not notice an edit in an imported kernel file and keeps running the old code; so the cache
folder carries a hash of every kernel source and of the numba version. No fast-math: it deletes the guard against NaN.
Numba itself is imported when the first kernel is called: a command that calls none does without it.
"""

from __future__ import annotations

import contextlib
import functools
import gc
import hashlib
import os
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

F = TypeVar("F", bound=Callable[..., Any])

_PACKAGE = Path(__file__).parent
_KERNEL_SOURCES = ("jit.py", "taken_in.py", "compiling.py", "physics/*.py", "engine/*.py")


@functools.cache
def sources_hash() -> str:
    """Return a short hash of the kernel sources and the numba version."""
    import numba

    digest = hashlib.sha256(numba.__version__.encode())
    for pattern in _KERNEL_SOURCES:
        for path in sorted(_PACKAGE.glob(pattern)):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _writable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


@functools.cache
def cache_folder() -> str:
    """Return the folder of compiled kernels: the user's cache, or a temporary folder where that cannot be written."""
    base = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    try:
        wanted = Path(base).expanduser() / "ridesim" / sources_hash()
    except RuntimeError:
        wanted = Path(tempfile.gettempdir()) / "ridesim" / sources_hash()
    if _writable(wanted):
        return str(wanted)
    return tempfile.mkdtemp(prefix="ridesim-")


def is_compiled_before(kinds: int = 1) -> bool:
    """Return whether so many kinds of the compiled ride (bikes of one drive, of two) are on disk for these sources."""
    return len(list(Path(cache_folder()).rglob("loop.ride-*.nbc"))) >= kinds


class _Late:
    """A kernel that numba hears of when it is first called, or taken in by another: of some 280, a ride calls three.

    For numba it is the dispatcher that it stands for, since all that numba asks of it is passed on.
    """

    def __init__(self, function: Callable[..., Any], make: Callable[[], Any]) -> None:
        functools.update_wrapper(self, function)
        self.py_func = function
        self._make = make

    def __call__(self, *given: Any, **named: Any) -> Any:
        return self.made(*given, **named)

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return getattr(self.made, name)

    @functools.cached_property
    def made(self) -> Any:
        """The kernel as numba knows it; the plain function where numba is switched off."""
        with _ONE_AT_A_TIME:
            return self.__dict__.get("made") or self._make()


_ONE_AT_A_TIME = threading.RLock()


def _late(function: F, make: Callable[[], Any]) -> F:
    late: Any = _Late(function, make)
    return late


def kernel(function: F) -> F:
    """Compile `function` with numba: no fast-math, IEEE division, no GIL, inlined where used.

    Other kernels take it in. Only when Python calls it, a way in from there is made, and cached on disk.
    """
    return _late(function, lambda: _both_ways(function, _taken_in(function)))


def inner_kernel(function: F) -> F:
    """Compile `function` for other kernels only, inlined where used: it has no way in from Python."""
    return _late(function, lambda: _taken_in(function))


def rare_kernel(function: F) -> F:
    """Compile `function` for other kernels, called instead of inlined: what is rare, or large and asked twice."""
    return _late(function, lambda: _taken_in(function, forceinline=False))


def called_kernel(function: F) -> F:
    """Compile `function` for Python too, called instead of inlined by other kernels."""
    return _late(function, lambda: _both_ways(function, _taken_in(function, forceinline=False)))


def if_none(nothing: F, something: F) -> F:
    """Return two inner kernels as one: the first where their first argument is None, else the second.

    It is decided by the argument's type: what is compiled holds one of the two and no branch.
    """
    return _late(plain(something), lambda: _by_type(nothing, something))


def _by_type(nothing: Any, something: Any) -> Any:
    if not hasattr(something, "get_call_template"):  # plain Python where numba is switched off

        @functools.wraps(something)
        def either(first: Any, *rest: Any) -> Any:
            return nothing(first, *rest) if first is None else something(first, *rest)

        return either
    chosen = _taken_in(something.py_func)
    template, overload = chosen.get_call_template, chosen.get_overload

    def template_of(args: Any, keywords: Any) -> Any:
        return nothing.get_call_template(args, keywords) if _is_none(args) else template(args, keywords)

    def overload_of(args: Any) -> Any:
        return nothing.get_overload(args) if _is_none(args) else overload(args)

    chosen.get_call_template, chosen.get_overload = template_of, overload_of
    return chosen


def _is_none(types: Any) -> bool:
    import numba

    return isinstance(types[0], numba.types.NoneType)


def plain(function: F) -> F:
    """Return a kernel as the Python function it was written as: for single calls that hand over a whole bike.

    Taking eighty numbers out of a tuple costs a compiled function more than its work. The kernels in it stay compiled.
    """
    written: F = getattr(function, "py_func", function)
    return written


def _taken_in(function: Callable[..., Any], **options: Any) -> Any:
    """Return `function` compiled for other kernels.

    A third of the compile time of all kernels went into ways in from Python, boxing and unboxing; as much into
    finishing each of them for itself.
    """
    from ridesim.taken_in import ways_of_compiling

    return _of_any_number(_compiler(no_cpython_wrapper=True, **ways_of_compiling()[0], **options)(function))


def _of_any_number(compiled: Any) -> Any:
    """Return a kernel compiled once for all whole numbers: numba makes one more for each that is written out."""
    if not hasattr(compiled, "get_call_template"):  # plain Python where numba is switched off
        return compiled
    import numba

    template, unliteral = compiled.get_call_template, numba.types.unliteral

    def template_of(args: Any, keywords: Any) -> Any:
        return template(tuple(unliteral(each) for each in args), keywords)

    compiled.get_call_template = template_of
    return compiled


def _compiler(**options: Any) -> Any:
    # Kernels allocate nothing: counting references to arrays they read costs 8 % of a ride. Nobody calls them from C.
    import numba

    njit: Any = numba.njit
    common = {"nogil": True, "error_model": "numpy", "forceinline": True, "_nrt": False, "no_cfunc_wrapper": True}
    return njit(**{**common, **options})


def _both_ways(function: Callable[..., Any], inner: Any) -> Any:
    """Return `function` compiled for Python and cached on disk; kernels that call it take in `inner` instead."""
    import numba

    from ridesim.taken_in import ways_of_compiling

    config: Any = numba.config
    before = config.CACHE_DIR
    config.CACHE_DIR = cache_folder()
    try:
        compiled = _compiler(cache=True, **ways_of_compiling()[1])(function)
    finally:
        config.CACHE_DIR = before
    if hasattr(compiled, "_cache"):  # plain Python where numba is switched off
        compiled._cache = _Forgiving(compiled._cache)
        compiled.compile = _uncollected(compiled.compile)
        compiled.get_call_template, compiled.get_overload = inner.get_call_template, inner.get_overload
    return compiled


def _uncollected(work: Callable[..., Any]) -> Callable[..., Any]:
    """Return work without Python's collector, which looks through all that the compiler holds, again and again."""

    @functools.wraps(work)
    def quiet(*given: Any) -> Any:
        """Do the work with the collector off, and on again where it was."""
        from ridesim.compiling import no_more_than_needed

        was_on = gc.isenabled()
        gc.disable()
        try:
            with no_more_than_needed():
                return work(*given)
        finally:
            if was_on:
                _take_for_old()
                gc.enable()

    return quiet


PYTHONS_OWN = 1000
"""Python 3.12 starts with some hundred frozen objects of its own, which never die."""


def _take_for_old() -> None:
    """Have the collector take all that there is for old: it would look through what was just made, for 0.4 s."""
    if gc.get_freeze_count() < PYTHONS_OWN:  # else somebody keeps things frozen
        gc.freeze()
        gc.unfreeze()


class _Forgiving:
    """A cache of numba's whose files may be cut short, or cannot be written: the kernel is then compiled anew."""

    def __init__(self, cache: Any) -> None:
        self._cache = cache

    def __getattr__(self, name: str) -> Any:
        return getattr(self._cache, name)

    def load_overload(self, *asked: Any) -> Any:
        """Return what is cached, or None; a file that cannot be read is thrown away."""
        try:
            return self._read(*asked)
        except Exception:  # a pickle that is cut short raises nearly anything
            self._flushed()
            _tell_once("the compile cache was damaged: it is rebuilt, once (some 8 s) ...")
            return None

    def _read(self, *asked: Any) -> Any:
        """Read compiled code as it is, without making the compiler ready first.

        numba's own way imports all that any kernel could need (scipy.linalg among it), a third of a short ride's time.
        """
        read = getattr(self._cache, "_load_overload", self._cache.load_overload)
        with contextlib.suppress(Exception):
            return read(*asked)
        return self._cache.load_overload(*asked)

    def save_overload(self, *made: Any) -> None:
        """Keep what was compiled, if the disk lets us."""
        try:
            self._cache.save_overload(*made)
        except Exception:  # a damaged index, or no room: this process has what it needs
            self._flushed()
            _tell_once("the compile cache cannot be written: the next run compiles again")

    def _flushed(self) -> None:
        with contextlib.suppress(Exception):
            self._cache.flush()


teller: list[Callable[[str], None]] = []
"""Who is told, once, that the cache was no help; the command line puts its voice here."""


def _tell_once(words: str) -> None:
    while teller:
        teller.pop()(words)
