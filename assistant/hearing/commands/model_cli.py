"""`assistant model install`: fetch the small English Vosk model, or say where to put one by hand."""

from __future__ import annotations

import os
import shutil
import zipfile
from pathlib import Path
from typing import Any

import click

from assistant.errors import ModelError, StorageError
from assistant.hearing.engines import vosk_models as models


@click.group("model")
def model() -> None:
    """Speech models."""


@model.command("install")
@click.option("--from", "archive", type=click.Path(path_type=Path), default=None,
              help="A model you have already: a folder, .zip or .aar.")
def install(archive: Path | None) -> None:
    """Put the small English Vosk model where the assistant finds it."""
    folder = install_model(archive)
    click.echo(f"The model is in {folder}. It is used from now on.")


@model.command("where")
def where() -> None:
    """Say which model would be used, and where one is looked for."""
    found = models.find("en")
    click.echo(str(found) if found else "No English Vosk model here: the embedded engine listens.")
    click.echo("Looked for in: --model, $VOSK_MODEL_PATH, " + str(models.cache_folder()))


def install_model(archive: Path | None = None, name: str = models.ENGLISH_SMALL) -> Path:
    """The installed model's folder. Without `archive` it is fetched by Vosk's own downloader.

    Raises ModelError when there is no network or it isn't a model, StorageError when it can't be written.
    """
    base = models.cache_folder()
    try:
        base.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StorageError(f"The folder for models can't be made: {error.strerror}.", where=str(base)) from error
    target = base / name
    if archive is not None:
        found = models.find("en", archive, required=True)
        assert found is not None  # or it had raised
        half = base / f"{name}.{os.getpid()}"
        try:
            shutil.copytree(found, half)
            shutil.rmtree(target, ignore_errors=True)
            half.rename(target)
        except OSError as error:
            shutil.rmtree(half, ignore_errors=True)
            raise StorageError(f"The model can't be copied: {error.strerror}.", where=str(target)) from error
        return models.check(target)
    if target.is_dir():
        return models.check(target)
    _download(name, base)
    return models.check(target)


def _download(name: str, base: Path) -> None:
    import requests
    import vosk

    by_hand = models.BY_HAND.format(folder=base)
    try:
        listed = requests.get(vosk.MODEL_LIST_URL, timeout=10).json()
        if name not in [entry["name"] for entry in listed]:
            raise ModelError(f"Vosk's list has no model '{name}'.", try_next=by_hand)
        _downloader(vosk.Model).download_model(base / name)
    except (requests.exceptions.RequestException, OSError, ValueError, zipfile.BadZipFile) as error:
        shutil.rmtree(base / name, ignore_errors=True)
        raise ModelError("The model can't be fetched: there is no way to Vosk's server from here.",
                         try_next=by_hand) from error


def _downloader(model_class: type) -> Any:
    """Vosk's model class without a model in it: only its download is wanted."""

    class Downloader(model_class):  # type: ignore[misc]  # a class known only when run
        def __init__(self) -> None:
            pass

        def __del__(self) -> None:
            pass

    return Downloader()
