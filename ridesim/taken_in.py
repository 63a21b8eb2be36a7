"""How a function is compiled that only other kernels take in: typed and written as LLVM code, and left at that.

Numba optimises every function on its own and makes machine code of it, all that it calls included, before its caller
takes it in and does the same once more, seven levels deep. What has no way in from Python needs neither. Most passes
over its source are left out too: they look for closures, comprehensions, array expressions and branches that no
argument can take, and kernels hold none. Together it is a third of the first compile.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numba
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler, PassManager
from numba.core.typed_passes import (
    AnnotateTypes,
    IRLegalization,
    NativeLowering,
    NoPythonBackend,
    NopythonTypeInference,
    PreLowerStripPhis,
)
from numba.core.types import Boolean, Float, Integer
from numba.core.types.functions import BaseFunction
from numba.core.untyped_passes import FixupArgs, GenericRewrites, IRProcessing, ReconstructSSA, TranslateByteCode

_PASSES = (
    TranslateByteCode, FixupArgs, IRProcessing, GenericRewrites, ReconstructSSA, NopythonTypeInference,
    PreLowerStripPhis, IRLegalization, AnnotateTypes, NativeLowering, NoPythonBackend,
)  # fmt: skip

_KNOWN = ("0.68.",)
"""The versions of numba whose inside is as it is taken here."""


class _NoEnvironments:
    """Takes the place of the code generator where numba asks it to tell machine code, which is not there, of Python."""

    def set_env(self, *_: Any) -> None:
        """Do nothing: an environment serves what is boxed for Python."""


class _Unfinished(JITCodeLibrary):
    """One function's LLVM code, ready to be taken in by its callers."""

    codegen = _NoEnvironments()

    def _optimize_final_module(self) -> None:
        """Leave that to the one who takes it in."""

    def _finalize_final_module(self) -> None:
        self._finalized = True

    def get_pointer_to_function(self, _: str) -> int:
        """Return no address: there is no machine code."""
        return 0


class _TakenIn(Compiler):
    def __init__(self, typing: Any, target: Any, library: Any, *rest: Any) -> None:
        super().__init__(typing, target, library or _Unfinished(target.codegen(), "taken in"), *rest)

    def define_pipelines(self) -> list[Any]:
        """Return the one list of passes that a kernel of plain numbers needs."""
        passes = PassManager("taken in")
        for each in _PASSES:
            passes.add_pass(each, each.__name__)
        passes.finalize()
        return [passes]


def way_of_compiling() -> dict[str, Any]:
    """Return the options of such a function; another numba compiles it in its own way: slower, and the same code."""
    if not numba.__version__.startswith(_KNOWN):
        return {}
    return {"pipeline_class": _TakenIn}


@contextmanager
def numbers_typed_once() -> Iterator[None]:
    """Ask only once what an operator makes of plain numbers: a fifth of the compile time went into asking again.

    Each `a * b` is held against all that numba and numpy can multiply, arrays and dates among them.
    """
    if not numba.__version__.startswith(_KNOWN):
        yield
        return
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

    kind.get_call_type = get_call_type
    try:
        yield
    finally:
        kind.get_call_type = asked


_NUMBERS = (Float, Integer, Boolean)
