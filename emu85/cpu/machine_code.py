"""Machine code of a function over arrays: made by way of numba, kept, and called without it.

What numba makes of a function is LLVM's text.  It becomes an object file that needs
nothing else, with one entry: a *desk*, an int64 array, has on it all that numba's calling
convention passes.  To load such a file takes LLVM alone, a tenth of the time that numba
takes to come up.
"""

from __future__ import annotations

import ctypes
import functools
import hashlib
import json
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import llvmlite.binding as llvm
import numpy as np
from numpy.typing import NDArray

_ENTRY = "emu85_entry"
_OPTIONS = {"codemodel": "jitdefault", "jit": True}


class Code(NamedTuple):
    """An object file, and what its entry takes.

    Attributes:
        triple: LLVM's name of the kind of computer.
        arguments: name of the dtype, and dimensions, of each array.
        content: the object file.
    """

    triple: str
    arguments: list[tuple[str, int]]
    content: bytes

    def to_bytes(self) -> bytes:
        """As it is kept in a file."""
        head = json.dumps([self.triple, self.arguments]).encode()
        kept = head + b"\n" + self.content
        return hashlib.sha256(kept).hexdigest().encode() + b"\n" + kept

    @classmethod
    def from_bytes(cls, kept: bytes) -> Code:
        """What was kept.

        Raises:
            ValueError: it is damaged.
        """
        digest, _, rest = kept.partition(b"\n")
        if hashlib.sha256(rest).hexdigest().encode() != digest:
            raise ValueError("compiled code that is damaged")
        head, _, content = rest.partition(b"\n")
        triple, arguments = json.loads(head)
        return cls(triple, [(name, dimensions) for name, dimensions in arguments], content)


class Function:
    """A function over arrays as machine code."""

    def __init__(self, code: Code) -> None:
        """Load it.

        Raises:
            RuntimeError: LLVM does not find its entry.
        """
        self._arguments = code.arguments
        llvm.initialize_native_target()
        llvm.initialize_native_asmprinter()
        target = llvm.Target.from_triple(code.triple).create_target_machine(**_OPTIONS)
        # How names are spelled in object files is told by the layout.
        empty = llvm.parse_assembly(f'target triple = "{code.triple}"')
        empty.data_layout = str(target.target_data)
        self._engine = llvm.create_mcjit_compiler(empty, target)
        self._engine.add_object_file(llvm.ObjectFileRef.from_data(code.content))
        self._engine.finalize_object()
        address = self._engine.get_function_address(_ENTRY)
        if not address:
            raise RuntimeError("the compiled code has no entry that LLVM finds")
        # Keeps the interpreter locked, as the arrays are Python's.
        self._entry = ctypes.PYFUNCTYPE(ctypes.c_int64, ctypes.c_void_p)(address)

    def __call__(self, *arrays: NDArray[Any]) -> int:
        """Call it."""
        return self.bound(*arrays)()

    def bound(self, *arrays: NDArray[Any]) -> Callable[[], int]:
        """It with these arrays, to be called again and again.

        Raises:
            TypeError: arrays of other dtypes or dimensions, or not contiguous.
        """
        given = [(array.dtype.name, array.ndim) for array in arrays]
        if given != self._arguments or not all(array.flags.c_contiguous for array in arrays):
            raise TypeError(f"the compiled function takes {self._arguments}, not {given}")
        desk = ctypes.c_void_p()
        cells = np.array([cell for array in arrays for cell in _passed(array)], np.int64)
        desk.value = cells.ctypes.data
        desk.held = (cells, arrays)  # type: ignore[attr-defined]
        return functools.partial(self._entry, desk)

    def __deepcopy__(self, _: object) -> Function:
        """Itself: it never changes."""
        return self


def _passed(array: NDArray[Any]) -> list[int]:
    """What numba's calling convention passes of an array."""
    owners = [0, 0]
    return [
        *owners,
        array.size,
        array.itemsize,
        array.ctypes.data,
        *array.shape,
        *array.strides,
    ]


def made(function: Callable[..., int], signature: Any) -> Code:
    """Compile a function; takes some seconds.

    Args:
        signature: numba's types of arguments and result.

    Raises:
        RuntimeError: numba passes arrays in another way than is known here.
    """
    import numba

    compiler: Any = numba.njit
    dispatcher = compiler(signature, error_model="numpy", _nrt=False)(function)
    types = dispatcher.signatures[0]
    module = llvm.parse_assembly(dispatcher.inspect_llvm(types))
    inner = module.get_function(dispatcher.overloads[types].fndesc.llvm_func_name)
    arguments = [(str(array.dtype), int(array.ndim)) for array in types]
    kinds = [str(each.type) for each in inner.arguments]
    if len(kinds) != 2 + sum(5 + 2 * dimensions for _, dimensions in arguments):
        raise RuntimeError("this release of numba passes arrays in a way that is not known")
    _put_entry(module, inner.name, kinds)
    triple = str(module.triple)
    return Code(triple, arguments, _object_file(module, triple))


def _put_entry(module: Any, inner: str, kinds: Sequence[str]) -> None:
    """Add the entry, which takes what the function is passed from the desk."""
    places = [
        f"%at{n} = getelementptr i64, ptr %desk, i64 {n}\n%in{n} = load {kind}, ptr %at{n}"
        for n, kind in enumerate(kinds[2:])
    ]
    passed = [f"{kind} %in{n}" for n, kind in enumerate(kinds[2:])]
    entry = llvm.parse_assembly(
        "\n".join(
            [
                f"declare i32 @{inner}({', '.join(kinds)})",
                f"define i64 @{_ENTRY}(ptr %desk) {{",
                "%result = alloca i64",
                "%error = alloca ptr",
                *places,
                f"%status = call i32 @{inner}({', '.join(['ptr %result', 'ptr %error', *passed])})",
                "%value = load i64, ptr %result",
                "ret i64 %value",
                "}",
            ]
        )
    )
    entry.triple, entry.data_layout = module.triple, module.data_layout
    module.link_in(entry)


def _object_file(module: Any, triple: str) -> bytes:
    """Only what the entry needs, for the processor that this is."""
    for each in [*module.functions, *module.global_variables]:
        if not each.is_declaration:
            each.linkage = "external" if each.name == _ENTRY else "internal"
    target = llvm.Target.from_triple(triple).create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=llvm.get_host_cpu_features().flatten(),
        opt=3,
        **_OPTIONS,
    )
    passes = llvm.create_new_module_pass_manager()
    passes.add_global_dead_code_eliminate_pass()
    passes.run(module, llvm.create_pass_builder(target, llvm.create_pipeline_tuning_options()))
    content: bytes = target.emit_object(module)
    return content


def computer() -> str:
    """The processor that machine code is made for; no other may run it."""
    return f"{llvm.get_host_cpu_name()} {llvm.get_host_cpu_features().flatten()}"
