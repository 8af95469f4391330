"""Files and folders written atomically: complete or absent after any interruption."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def replacing(path: str | Path, *, replace: bool = True) -> Iterator[Path]:
    """Yield a temporary path beside `path`; on success it is flushed to disk and renamed to `path`.

    An error or an interruption inside the block leaves `path` unchanged and no temporary file. The draft has the
    same suffix, and the permissions of the file that it replaces or of a new file. A link is written through.

    Parameters
    ----------
    path : str or Path
        The file; its folder must exist.
    replace : bool
        Whether a file of that name may be replaced; if not, one that another program created meanwhile is kept.

    Raises
    ------
    FileExistsError
        `replace` is false and `path` exists.
    OSError
        The file cannot be written.
    """
    target = Path(os.path.realpath(path))
    if not replace and target.exists():
        raise FileExistsError(17, "File exists", str(path))
    draft = target.with_name(f".{target.name}-{secrets.token_hex(4)}{target.suffix}")
    draft.open("xb").close()
    try:
        if target.exists():
            shutil.copymode(target, draft)
        yield draft
        _flush(draft)
        if replace:
            draft.replace(target)
        else:
            _take_name(draft, target)
        flush_folder(target.parent)
    finally:
        draft.unlink(missing_ok=True)


def _take_name(draft: Path, target: Path) -> None:
    """Rename without replacing: a link fails if the name is taken, a rename would not."""
    try:
        target.hardlink_to(draft)
    except FileExistsError:
        raise
    except OSError:  # some file systems have no links
        if target.exists():
            raise FileExistsError(17, "File exists", str(target)) from None
        draft.replace(target)


def write_whole(path: str | Path, content: bytes) -> None:
    """Write a file in one step: see :func:`replacing`."""
    with replacing(path) as draft:
        draft.write_bytes(content)


@contextmanager
def replacing_folder(path: str | Path, *, replace: bool = True) -> Iterator[Path]:
    """Yield a temporary folder beside `path`; on success it replaces `path`, otherwise `path` is unchanged.

    Parameters
    ----------
    path : str or Path
        The folder; the one above it must exist.
    replace : bool
        Whether a folder of that name, with all it holds, may be replaced. An empty one always may.

    Raises
    ------
    FileExistsError
        `replace` is false and `path` is there and not empty.
    OSError
        The folder cannot be made or written.
    """
    target = Path(os.path.realpath(path))
    _check_free(target, replace)
    mark = secrets.token_hex(4)
    draft = target.with_name(f".{target.name}-{mark}")
    draft.mkdir()
    try:
        yield draft
        _check_free(target, replace)
        if target.exists():
            old = target.with_name(f".{target.name}-{mark}-old")
            target.replace(old)
            try:
                draft.replace(target)
            except BaseException:
                old.replace(target)
                raise
            shutil.rmtree(old, ignore_errors=True)
        else:
            draft.replace(target)
        flush_folder(target.parent)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def _check_free(target: Path, replace: bool) -> None:
    if not replace and target.exists() and not (target.is_dir() and not any(target.iterdir())):
        raise FileExistsError(17, "File exists", str(target))


def _flush(path: Path) -> None:
    with path.open("r+b") as stream:
        os.fsync(stream.fileno())


def flush_folder(folder: Path) -> None:
    """Flush the entries of a folder to disk, if the system supports it (not Windows and some network drives)."""
    if os.name == "nt":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def cache_folder() -> Path:
    """Return the cache folder: ``EDGEWIND_CACHE``, or that of Edgewind in the user's cache."""
    named = os.environ.get("EDGEWIND_CACHE")
    if named:
        return Path(named)
    base = os.environ.get("LOCALAPPDATA") if os.name == "nt" else os.environ.get("XDG_CACHE_HOME")
    return Path(base or os.path.expanduser("~/.cache")) / "edgewind"  # noqa: PTH111 - never raises without a home


def sha256_of(path: str | Path) -> str:
    """Return the SHA-256 digest of a file in hexadecimal, read in pieces."""
    with Path(path).open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
