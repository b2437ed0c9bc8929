"""Regenerates the lock files in assistant/locks from pyproject.toml: `python -m tests.support.relock`.

Run it after a change to the dependencies in pyproject.toml, in an environment that has `uv` (`pip install uv`).
It uses the package index that uv is set up for; no address ends up in the files. Pins that still fit are kept;
`--upgrade` looks for newer ones. Then run `python3 -m assistant selftest`, which checks the files against
pyproject.toml, and commit them together.

    build.txt       the tools that build the packages published without a wheel (see locks.FROM_SOURCE)
    run.txt         what the assistant needs: every system and Python from 3.11 on in one file, each pin with hashes
    run-macos.txt   those of them whose markers compare the kernel's version (why: locks.Lock)
    reading.txt     the model that reads speech, beside run.txt and resolved with it as constraint
    test.txt        what the tests need beside run.txt, resolved with both as constraints. What the model needs too
                    stands in both files, with one version: the tests also run where the model can't be installed
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from assistant.bootstrap import locks

ROOT = locks.FOLDER.parent.parent
BUILD_TOOLS = "setuptools>=77\n"
# A pin with the lines that belong to it: hashes and remarks, all indented.
_BLOCK = re.compile(r"^\S+==.*\n(?:[ \t]+.*\n)*", re.MULTILINE)


def blocks(text: str) -> dict[str, str]:
    """The pins of a lock file: "name==version ; marker" -> the lines that say so, with hashes."""
    return {block.split("\n", 1)[0].rstrip(" \\"): block for block in _BLOCK.findall(text)}


def select(text: str, keep: Callable[[str], bool]) -> str:
    """The pins of `text` for which `keep(pin)` holds, in the form of a lock file."""
    return "".join(block for pin, block in blocks(text).items() if keep(pin))


def compares_kernels(pin: str) -> bool:
    """True for a pin that belongs into run-macos.txt."""
    return "platform_release" in pin


def compile_lock(source: Path, output: Path, *options: str) -> None:
    """One run of uv; raises CalledProcessError with its complaint already on the screen."""
    uv = shutil.which("uv") or shutil.which("uv", path=str(Path(sys.executable).parent))
    if uv is None:
        sys.exit("uv is not here.\n  Try: pip install uv")
    subprocess.run([uv, "pip", "compile", "--quiet", "--universal", "--generate-hashes", "--python-version", "3.11",
                    "--no-header", "--no-emit-index-url", "--no-emit-find-links", "--output-file", str(output),
                    *options, str(source)], check=True, cwd=ROOT, stdout=subprocess.DEVNULL)


def resolve(folder: Path, extra: str, upgrade: list[str]) -> str:
    """All pins of the project with the optional part `extra` ("" for none), agreeing with those that this function
    wrote to `folder` before. uv keeps the pins that it finds in the file that it writes to."""
    constraints = [part for file in sorted(folder.glob("*.txt")) for part in ("--constraint", str(file))]
    output = folder / f"{extra or 'run'}.txt"
    kept = [*locks.RUN.files("darwin"), *([locks.FOLDER / f"{extra}.txt"] if extra else [])]
    output.write_text("".join(file.read_text(encoding="utf-8") for file in kept if file.exists()), encoding="utf-8")
    compile_lock(Path("pyproject.toml"), output, *(["--extra", extra] if extra else []), *constraints, *upgrade)
    # The remarks name the constraint file and its folder, which is no business of the lock.
    text = re.sub(r"^ +#(?:  | via) -c .*\n", "", output.read_text(encoding="utf-8"), flags=re.MULTILINE)
    output.write_text(text, encoding="utf-8")
    return text


def main() -> None:
    """Writes the files."""
    parser = argparse.ArgumentParser(prog="python -m tests.support.relock",
                                     description="Regenerates assistant/locks from pyproject.toml.")
    parser.add_argument("--upgrade", action="store_true", help="take newer versions where the pins allow")
    upgrade = ["--upgrade"] if parser.parse_args().upgrade else []
    with tempfile.TemporaryDirectory() as folder:
        tools = Path(folder) / "tools.in"
        tools.write_text(BUILD_TOOLS, encoding="utf-8")
        compile_lock(tools, locks.BUILD.path, "--no-annotate", *upgrade)
        run, reading, test = (resolve(Path(folder), extra, upgrade) for extra in ("", "reading", "test"))
    known = blocks(run)
    contents = {
        locks.RUN.path: select(run, lambda pin: not compares_kernels(pin)),
        locks.RUN.macos: select(run, compares_kernels),
        locks.READING.path: select(reading, lambda pin: pin not in known),
        locks.TEST.path: select(test, lambda pin: pin not in known),
    }
    for path, content in contents.items():
        path.write_text(content, encoding="utf-8", newline="\n")
    for path in (locks.BUILD.path, *contents):
        print(f"{path.relative_to(ROOT)}: {len(blocks(path.read_text()))} pins")


if __name__ == "__main__":
    main()
