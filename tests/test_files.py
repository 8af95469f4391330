"""Files that are complete or absent."""

import hashlib
import os
import stat

import pytest

from edgewind.files import cache_folder, replacing, replacing_folder, sha256_of, write_whole


def test_a_file_is_moved_into_place_only_when_it_is_complete(tmp_path):
    path = tmp_path / "data.csv"
    path.write_text("old")
    with pytest.raises(KeyboardInterrupt), replacing(path) as draft:
        draft.write_text("half")
        raise KeyboardInterrupt
    assert path.read_text() == "old" and list(tmp_path.iterdir()) == [path]
    with replacing(path) as draft:
        assert draft.suffix == ".csv" and draft.parent == tmp_path
        draft.write_text("new")
        assert path.read_text() == "old"
    assert path.read_text() == "new" and list(tmp_path.iterdir()) == [path]


def test_a_file_created_in_the_meantime_is_kept_unless_it_may_be_replaced(tmp_path):
    path = tmp_path / "film.mp4"
    with pytest.raises(FileExistsError), replacing(path, replace=False) as draft:
        draft.write_text("ours")
        path.write_text("theirs")
    assert path.read_text() == "theirs" and list(tmp_path.iterdir()) == [path]
    with pytest.raises(FileExistsError), replacing(path, replace=False):
        raise AssertionError("the block must not be entered")


@pytest.mark.skipif(os.name == "nt", reason="POSIX permissions and links")
def test_permissions_and_links_are_preserved(tmp_path):
    path, link, new = tmp_path / "a", tmp_path / "link", tmp_path / "new"
    path.write_text("old")
    path.chmod(0o640)
    link.symlink_to(path)
    write_whole(link, b"through")
    assert link.is_symlink() and path.read_text() == "through"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    new.touch()
    plain = stat.S_IMODE(new.stat().st_mode)
    write_whole(tmp_path / "fresh", b"")
    assert stat.S_IMODE((tmp_path / "fresh").stat().st_mode) == plain


def test_a_folder_is_replaced_as_a_whole_or_not_at_all(tmp_path):
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "old").touch()
    with pytest.raises(ValueError), replacing_folder(folder) as draft:
        (draft / "half").touch()
        raise ValueError
    assert [path.name for path in folder.iterdir()] == ["old"]
    with pytest.raises(FileExistsError), replacing_folder(folder, replace=False):
        raise AssertionError("the block must not be entered")
    with replacing_folder(folder) as draft:
        (draft / "new").touch()
    assert [path.name for path in folder.iterdir()] == ["new"]
    assert list(tmp_path.iterdir()) == [folder]


def test_an_empty_folder_may_be_filled(tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()
    with replacing_folder(folder, replace=False) as draft:
        (draft / "a").touch()
    assert (folder / "a").exists()


def test_a_folder_that_cannot_be_moved_into_place_leaves_the_old_one(tmp_path, monkeypatch):
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "old").touch()
    replace = type(folder).replace

    def fails(self, target):
        if (self / "new").exists():
            raise PermissionError(13, "Permission denied")
        return replace(self, target)

    monkeypatch.setattr(type(folder), "replace", fails)
    with pytest.raises(PermissionError), replacing_folder(folder) as draft:
        (draft / "new").touch()
    assert [path.name for path in folder.iterdir()] == ["old"]


def test_the_digest_is_that_of_hashlib(tmp_path):
    content = os.urandom(300_000)
    write_whole(tmp_path / "a", content)
    assert sha256_of(tmp_path / "a") == hashlib.sha256(content).hexdigest()


def test_the_cache_folder_can_be_chosen(monkeypatch, tmp_path):
    monkeypatch.setenv("EDGEWIND_CACHE", str(tmp_path))
    assert cache_folder() == tmp_path
    monkeypatch.delenv("EDGEWIND_CACHE")
    assert cache_folder().name == "edgewind"
