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
    """One lock, and the layer of the environment that it describes. `macos`: a second file, read there only.

    That file holds the pins whose markers compare the kernel's version: pip as it comes with Python 3.13 fails
    on such a marker where the kernel's version isn't one by Python's rules, as on nearly every Linux.
    """

    layer: str
    path: Path
    macos: Path | None = None

    def files(self, system: str) -> list[Path]:
        """The files to install from on `system` (as sys.platform)."""
        return [self.path, self.macos] if self.macos and system == "darwin" else [self.path]

    def read(self) -> bytes:
        """The bytes of all its files, with line ends as committed, whatever the checkout made of them."""
        files = [self.path, *([self.macos] if self.macos else [])]
        return b"".join(file.read_bytes().replace(b"\r\n", b"\n") for file in files)

    def sha256(self) -> str:
        """The hash that the layer's stamp carries."""
        return hashlib.sha256(self.read()).hexdigest()


BUILD = Lock("build", FOLDER / "build.txt")
RUN = Lock("run", FOLDER / "run.txt", FOLDER / "run-macos.txt")
READING = Lock("reading", FOLDER / "reading.txt")  # comes for fewer systems than the rest: may be left out
TEST = Lock("test", FOLDER / "test.txt")


def count_pins(text: str, system: str) -> int:
    """How many packages the lock brings on `system` (as sys.platform); about, as other markers aren't read."""
    return sum(1 for pin in _PIN.finditer(text)
               if all((name == system) == (sign == "==") for sign, name in _SYSTEM.findall(pin["marker"])))
