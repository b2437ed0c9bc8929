"""Model folders are checked before the library sees them: on some missing files it ends the process."""

from __future__ import annotations

import zipfile

import pytest

from assistant.errors import ModelError
from assistant.hearing.engines import vosk_models as models
from assistant.hearing.engines.choosing import open_engine


@pytest.fixture
def folder(tmp_path):
    base = tmp_path / "vosk-model-small-en-us-9"
    for name in (*models.NEEDED, *(f"ivector/{n}" for n in models.NEEDED_IVECTOR)):
        file = base / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(b"x")
    return base


@pytest.fixture(autouse=True)
def nowhere(monkeypatch, tmp_path):
    monkeypatch.delenv("VOSK_MODEL_PATH", raising=False)
    monkeypatch.setattr(models, "cache_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(models.Path, "home", classmethod(lambda cls: tmp_path / "home"))


def test_a_whole_folder_passes(folder):
    assert models.check(folder) == folder


@pytest.mark.parametrize("name", [*models.NEEDED, *(f"ivector/{n}" for n in models.NEEDED_IVECTOR)])
def test_each_missing_file_is_named(folder, name):
    (folder / name).unlink()
    with pytest.raises(ModelError, match=name):
        models.check(folder)


def test_an_empty_file_is_as_good_as_missing(folder):
    (folder / "graph/HCLr.fst").write_bytes(b"")
    with pytest.raises(ModelError, match="HCLr"):
        models.check(folder)


def test_a_folder_that_is_no_model(tmp_path):
    with pytest.raises(ModelError, match="isn't a Vosk model"):
        models.check(tmp_path)
    with pytest.raises(ModelError, match="no such model folder"):
        models.check(tmp_path / "gone")


def test_the_order_is_path_then_variable_then_cache(folder, tmp_path, monkeypatch):
    assert models.find("en") is None
    (tmp_path / "cache").mkdir()
    (tmp_path / "cache" / folder.name).symlink_to(folder)
    assert models.find("en") == tmp_path / "cache" / folder.name
    monkeypatch.setenv("VOSK_MODEL_PATH", str(folder))
    assert models.find("en") == folder
    monkeypatch.setenv("VOSK_MODEL_PATH", str(tmp_path / "gone"))
    with pytest.raises(ModelError, match="VOSK_MODEL_PATH"):
        models.find("en")
    assert models.find("en", folder) == folder


@pytest.mark.parametrize("suffix", [".zip", ".aar"])
def test_an_archive_is_unpacked_once(folder, tmp_path, suffix):
    archive = tmp_path / f"m{suffix}"
    with zipfile.ZipFile(archive, "w") as packed:
        for file in folder.rglob("*"):
            packed.write(file, f"assets/model-en-us/{file.relative_to(folder)}")
    found = models.find("en", archive)
    assert models.check(found) == found
    assert models.find("en", archive) == found


def test_an_archive_that_leads_out_of_its_folder_is_refused(tmp_path):
    archive = tmp_path / "m.zip"
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("../../evil", "x")
    with pytest.raises(ModelError, match="leads out"):
        models.find("en", archive)
    assert not (tmp_path / "evil").exists()


@pytest.mark.parametrize("content", [b"", b"not a zip"])
def test_a_damaged_archive(tmp_path, content):
    (tmp_path / "m.zip").write_bytes(content)
    with pytest.raises(ModelError, match="damaged"):
        models.find("en", tmp_path / "m.zip")


def test_asking_for_vosk_without_a_model_says_where_to_put_one():
    with pytest.raises(ModelError) as caught:
        open_engine("en", engine="vosk")
    assert "VOSK_MODEL_PATH" in caught.value.try_next and caught.value.exit_code == 4


def test_without_a_model_the_embedded_engine_listens():
    assert open_engine("en").describe()["engine"] == "pocketsphinx"


def test_without_the_korean_model_the_way_to_it_is_named(monkeypatch):
    monkeypatch.setattr(models, "_packaged", lambda language: None)
    with pytest.raises(ModelError, match="There is no Vosk model for 'ko' here") as refused:
        open_engine("ko")
    assert "assistant selftest" in str(refused.value.try_next)
