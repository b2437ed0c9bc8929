"""Plants a fault in the running core and takes it out again: one function's code is compiled anew from changed source.

The function object stays the same, so every table and import that holds it runs the fault.
"""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import CodeType


@dataclass(frozen=True)
class Fault:
    """In `function` of `module`, `old` (once in its source) becomes `new`. `what`: what it means, in plain words."""

    what: str
    module: str
    function: str
    old: str
    new: str


def _code_of(code: CodeType, name: str) -> CodeType:
    found = [c for c in code.co_consts if isinstance(c, CodeType) and c.co_name == name]
    if len(found) != 1:
        raise LookupError(f"{name} is there {len(found)} times")
    return found[0]


@contextmanager
def planted(fault: Fault) -> Iterator[None]:
    """Inside, the core has the fault. Raises LookupError where the source no longer reads as the fault expects."""
    module = importlib.import_module(f"assistant.session.{fault.module}")
    function = getattr(module, fault.function)
    source = inspect.getsource(function)
    if source.count(fault.old) != 1:
        raise LookupError(f"{fault.module}.{fault.function}: {fault.old!r} is there {source.count(fault.old)} times")
    changed = "from __future__ import annotations\n" + source.replace(fault.old, fault.new)
    changed = "\n".join(line for line in changed.split("\n") if not line.startswith("@"))
    code = _code_of(compile(changed, f"<{fault.what}>", "exec"), fault.function)
    before = function.__code__
    function.__code__ = code
    try:
        yield
    finally:
        function.__code__ = before
