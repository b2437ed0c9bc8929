"""Names and folders: what the key depends on, and where the environment goes on each system."""

from __future__ import annotations

import os
import platform
import sys
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.bootstrap import places
from assistant.bootstrap.problem import StartProblem

KEY = (b"locks", "cpython-3.11.7", "linux-x86_64")


@pytest.mark.parametrize("changed", [(b"locks2", *KEY[1:]), (KEY[0], "cpython-3.12.1", KEY[2]),
                                     (*KEY[:2], "linux-aarch64")])
def test_the_key_changes_with_lock_python_and_platform(changed: tuple[bytes, str, str]) -> None:
    assert places.environment_key(*changed) != places.environment_key(*KEY)


@given(st.tuples(st.binary(), st.text(), st.text()), st.tuples(st.binary(), st.text(), st.text()))
def test_only_equal_parts_give_equal_keys(one: tuple[bytes, str, str], other: tuple[bytes, str, str]) -> None:
    encodable = lambda parts: all(not any(0xD800 <= ord(c) < 0xE000 for c in part) for part in parts[1:])  # noqa: E731
    if encodable(one) and encodable(other):
        assert (places.environment_key(*one) == places.environment_key(*other)) == (one == other)


def test_the_python_inside_is_where_each_system_puts_it() -> None:
    assert str(places.environment_python(PureWindowsPath(r"C:\g\env"), "win32")) == r"C:\g\env\Scripts\python.exe"
    assert str(places.environment_python(PurePosixPath("/g/env"), "linux")) == "/g/env/bin/python"
    assert str(places.environment_python(PurePosixPath("/g/env"), "darwin")) == "/g/env/bin/python"


WINDOWS_HOME, HOME = PureWindowsPath(r"C:\Users\tech"), PurePosixPath("/home/tech")


@pytest.mark.parametrize(("system", "variables", "home", "folder"), [
    ("linux", {}, HOME, "/home/tech/.cache/gauntlet"),
    ("linux", {"XDG_CACHE_HOME": "/big/cache"}, HOME, "/big/cache/gauntlet"),
    ("linux", {"XDG_CACHE_HOME": "not/absolute"}, HOME, "/home/tech/.cache/gauntlet"),
    ("darwin", {"XDG_CACHE_HOME": "/big"}, HOME, "/home/tech/Library/Caches/gauntlet"),
    ("win32", {"LOCALAPPDATA": r"D:\Local"}, WINDOWS_HOME, r"D:\Local\gauntlet\Cache"),
    ("win32", {}, WINDOWS_HOME, r"C:\Users\tech\AppData\Local\gauntlet\Cache"),
])
def test_cache_folder_on_each_system(system: str, variables: dict[str, str], home, folder: str) -> None:
    assert str(places.user_cache_folder(system, variables, home)) == folder


def test_cache_folder_is_the_one_that_platformdirs_names() -> None:
    from platformdirs import user_cache_path

    mine = places.user_cache_folder(sys.platform, os.environ, Path.home())
    assert Path(mine) == user_cache_path("gauntlet", appauthor=False)


def test_the_release_is_the_one_that_the_system_names() -> None:
    named = places.system_release()
    if sys.platform == "darwin":
        assert named == f"macOS {platform.mac_ver()[0]}"
    elif sys.platform == "win32":
        assert named == ""
    else:
        assert named == " ".join(platform.libc_ver())


def test_the_folder_in_the_checkout_ignores_itself(tmp_path: Path) -> None:
    folder = places.writable_folder(tmp_path, tmp_path / "cache")
    assert folder == tmp_path / ".gauntlet"
    assert (folder / ".gitignore").read_text() == "*\n"
    assert [path.name for path in folder.iterdir()] == [".gitignore"], "the trial write was left behind"


def blocked(path: Path) -> Path:
    """A path under which no folder can be made, for root as well: its parent is a file."""
    path.write_text("")
    return path


def test_unwritable_checkout_falls_to_the_cache(tmp_path: Path) -> None:
    folder = places.writable_folder(blocked(tmp_path / "checkout"), tmp_path / "cache")
    assert folder == tmp_path / "cache"
    assert (folder / ".gitignore").exists()


def test_folder_that_is_there_but_takes_no_file_falls_to_the_cache(tmp_path: Path,
                                                                   monkeypatch: pytest.MonkeyPatch) -> None:
    real = places.tempfile.TemporaryFile

    def refuse(dir: Path):
        if ".gauntlet" in str(dir):
            raise OSError(30, "Read-only file system")
        return real(dir=dir)

    monkeypatch.setattr(places.tempfile, "TemporaryFile", refuse)
    assert places.writable_folder(tmp_path, tmp_path / "cache") == tmp_path / "cache"


def test_nowhere_to_write_is_a_sentence_and_code_6(tmp_path: Path) -> None:
    with pytest.raises(StartProblem) as caught:
        places.writable_folder(blocked(tmp_path / "a"), blocked(tmp_path / "b") / "cache")
    assert caught.value.exit_code == 6
    assert str(tmp_path / "a") in caught.value.what
