"""How a function is compiled that only other kernels take in: typed and written as LLVM code, and left at that.

Numba optimises every function on its own and makes machine code of it, all that it calls included, before its caller
takes it in and does the same once more, seven levels deep. What has no way in from Python needs neither: it is read
and tidied by LLVM in a thread beside, and linked once, into the kernel that Python calls. Most passes over its source
are left out too: they look for closures, comprehensions, array expressions, branches that no argument can take and one
name for values that have no type in common, and kernels hold none. Together it is nearly half of the first compile.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from concurrent.futures import Future
from types import MappingProxyType
from typing import Any

import llvmlite.binding as llvm
from llvmlite.ir import Module
from numba.core import cgutils
from numba.core.codegen import CodeLibrary, CPUCodeLibrary, JITCodeLibrary
from numba.core.compiler import Compiler, _LowerResult
from numba.core.funcdesc import PythonFunctionDescriptor
from numba.core.lowering import Lower
from numba.core.typed_passes import NoPythonBackend, NopythonTypeInference
from numba.core.untyped_passes import FixupArgs, TranslateByteCode

from ridesim.compiling import IS_KNOWN, beside, nothing_new


class _Lower(Lower):
    def alloca_lltype(self, name: str, lltype: Any, datamodel: Any = None) -> Any:
        """Return room for a variable; numba's own asks LLVM for its size too, for debuggers that nobody runs here."""
        return cgutils.alloca_once(self.builder, lltype, name=name, zfill=False)


def _lower(state: Any) -> None:
    target, library = state.targetctx, state.library
    described = PythonFunctionDescriptor.from_specialized_function(
        state.func_ir, state.typemap, state.return_type, state.calltypes, mangler=target.mangler,
        inline=state.flags.forceinline, noalias=state.flags.noalias, abi_tags=[state.flags.get_mangle_string()],
    )  # fmt: skip
    with target.push_code_library(library):
        lower = _Lower(target, library, described, state.func_ir, metadata=state.metadata)
        lower.lower()
    made = target.get_executable(library, described, lower.env)
    target.insert_user_function(made, described, [library])
    state.cr = _LowerResult(described, lower.call_helper, cfunc=made, env=lower.env)


class _Passes:
    """What a kernel of plain numbers needs, one after the other, and nothing between them."""

    pipeline_name = "taken in"
    exec_times: Mapping[str, Any] = MappingProxyType({})

    def run(self, state: Any) -> None:
        """Run the passes on what numba knows of one function."""
        for each in (TranslateByteCode, FixupArgs, NopythonTypeInference):
            each().run_pass(state)
        _lower(state)
        NoPythonBackend().run_pass(state)


class _NoEnvironments:
    """Takes the place of the code generator where numba asks it to tell machine code, which is not there, of Python."""

    def set_env(self, *_: Any) -> None:
        """Do nothing: an environment serves what is boxed for Python."""


_triple = functools.cache(llvm.get_process_triple)


class _Unfinished(JITCodeLibrary):
    """One function's LLVM code, ready to be taken in by its callers."""

    codegen = _NoEnvironments()
    _module: Future[Any]

    def __init__(self, codegen: Any, name: str) -> None:
        CodeLibrary.__init__(self, codegen, name)  # numba's own makes an empty module first, to link into
        self._linking_libraries: list[Any] = []
        self._shared_module = None

    def create_ir_module(self, name: str) -> Any:
        """Return an empty module; numba's own asks LLVM, which is busy in its thread, what machine this is."""
        module = Module(cgutils.normalize_ir_text(name))
        module.triple, module.data_layout = _triple(), self._codegen._data_layout
        return module

    def add_ir_module(self, ir_module: Any) -> None:
        """Have the code read and tidied in the thread beside."""
        self._module = beside(self._read, cgutils.normalize_ir_text(str(ir_module)))

    def _read(self, code: str) -> Any:
        module = llvm.parse_assembly(code)
        module.data_layout = self._codegen._data_layout
        passes, builder = self._codegen._function_pass_manager()
        for function in module.functions:
            if not function.is_declaration:
                passes.run(function, builder)
        return module

    @property
    def _final_module(self) -> Any:
        return self._module.result()

    def finalize(self) -> None:
        """Leave optimising and linking to the one who takes it in."""
        self._finalized = True

    def _get_module_for_linking(self) -> Any:
        """Return the code with all that it takes in: for somebody else's function that calls a kernel."""
        return _linked(_own_code(self).clone(), self._linking_libraries)

    def get_pointer_to_function(self, _: str) -> int:
        """Return no address: there is no machine code."""
        return 0


class _Whole(JITCodeLibrary):
    """The code of a kernel that Python calls, with all that it takes in."""

    def _optimize_functions(self, _: Any) -> None:
        """Leave that to the passes over the whole."""

    def finalize(self) -> None:
        """Link each function once, however many take it in, and make machine code of the whole."""
        _linked(self._final_module, self._linking_libraries)
        self._linking_libraries = []
        super().finalize()


def _own_code(library: Any) -> Any:
    return CPUCodeLibrary._get_module_for_linking(library)


def _linked(module: Any, libraries: Iterable[Any]) -> Any:
    for each in _all_in(libraries, {}):
        module.link_in(_own_code(each), preserve=True)
    return module


def _all_in(libraries: Iterable[Any], found: dict[Any, None]) -> Iterable[Any]:
    for each in libraries:
        if each not in found:
            found[each] = None
            if isinstance(each, _Unfinished):
                _all_in(each._linking_libraries, found)
    return found


class _TakenIn(Compiler):
    def __init__(self, typing: Any, target: Any, library: Any, *rest: Any) -> None:
        with nothing_new(typing, target):
            super().__init__(typing, target, library or _Unfinished(target.codegen(), "taken in"), *rest)

    def define_pipelines(self) -> list[Any]:
        """Return the one list of passes that a kernel of plain numbers needs."""
        return [_Passes()]


class _FromPython(Compiler):
    def __init__(self, typing: Any, target: Any, library: Any, *rest: Any) -> None:
        if library is None:
            library = _Whole(target.codegen(), "whole")
            library.enable_object_caching()
        super().__init__(typing, target, library, *rest)


def ways_of_compiling() -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the options of what only kernels take in, and of what Python calls.

    Another numba compiles both in its own way: slower, and the same code.
    """
    if not IS_KNOWN:
        return {}, {}
    return {"pipeline_class": _TakenIn}, {"pipeline_class": _FromPython}
