"""The lock files: which there are, what they hold, roughly how many packages they bring here."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).resolve().parent.parent / "locks"

# Published without a wheel. One Python file; Vosk's package imports it. Built with the tools in build.txt.
FROM_SOURCE = ("srt",)

_PIN = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]*==\S+(?P<marker>.*)$", re.MULTILINE)
_SYSTEM = re.compile(r"sys_platform (==|!=) '(\w+)'")


@dataclass(frozen=True)
class Lock:
    """One lock file, and the layer of the environment that it describes."""

    layer: str
    path: Path

    def read(self) -> bytes:
        """The file's bytes, with line ends as committed, whatever the checkout made of them."""
        return self.path.read_bytes().replace(b"\r\n", b"\n")

    def sha256(self) -> str:
        """The hash that the layer's stamp carries."""
        return hashlib.sha256(self.read()).hexdigest()


BUILD = Lock("build", FOLDER / "build.txt")
RUN = Lock("run", FOLDER / "run.txt")
TEST = Lock("test", FOLDER / "test.txt")


def count_pins(text: str, system: str) -> int:
    """How many packages the lock brings on `system` (as sys.platform); about, as other markers aren't read."""
    return sum(1 for pin in _PIN.finditer(text)
               if all((name == system) == (sign == "==") for sign, name in _SYSTEM.findall(pin["marker"])))
