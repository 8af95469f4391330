"""One picture on its own: a figure, bytes, or a file."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from edgewind.errors import InputError
from edgewind.kinetics import Response
from edgewind.report.film.field import GasField, field_of_response
from edgewind.report.film.picture import GasPicture
from edgewind.report.film.rotor_field import RotorField
from edgewind.report.film.rotor_picture import RotorPicture
from edgewind.report.film.series import GasSeries
from edgewind.report.film.words import option_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

STILLS = ("png", "svg")

Answer = GasField | GasSeries | Response | Sequence[RotorField]


def picture_of(
    answer: Answer,
    *,
    quantity: str = "temperature",
    theme: str = "light",
    size: str = "1080p",
    drive: str = "thermal",
    specks: bool = False,
    footnote: bool = True,
) -> GasPicture | RotorPicture:
    """Return the picture of a result: of the gas round a vane, or about a rotor from above.

    Parameters
    ----------
    answer : GasField, GasSeries, Response or sequence of RotorField
        The result; a response must have its fields.
    quantity, theme, size, specks, footnote
        As for `GasPicture`; specks are shown round a lone vane only.
    drive : str
        The drive of a response; a field already has one.

    Raises
    ------
    InputError
        An unknown name, or a response without fields.
    """
    if isinstance(answer, GasField | GasSeries | Response):
        gas = field_of_response(answer, drive) if isinstance(answer, Response) else answer
        return GasPicture(gas, quantity=quantity, theme=theme, size=size, specks=specks, footnote=footnote)
    return RotorPicture(answer, quantity=quantity, theme=theme, size=size, footnote=footnote)


def draw_gas(
    answer: Answer,
    *,
    knudsen: float | None = None,
    quantity: str = "temperature",
    theme: str = "light",
    size: str = "1080p",
    drive: str = "thermal",
) -> Figure:
    """Draw the gas.

    Parameters
    ----------
    answer, quantity, theme, size, drive
        As for `picture_of`.
    knudsen : float, optional
        Knudsen number in a series; default: its highest.

    Raises
    ------
    InputError
        An unknown name, a response without fields, or a Knudsen number outside the series.
    """
    picture = picture_of(answer, drive=drive, quantity=quantity, theme=theme, size=size)
    if knudsen is not None:
        picture.show(knudsen)
    if isinstance(picture, GasPicture):
        for artist in picture.moving:
            artist.set_animated(False)
    return picture.figure


def still_bytes(
    answer: Answer,
    kind: str = "png",
    *,
    knudsen: float | None = None,
    size: str = "1080p",
    theme: str = "light",
    quantity: str = "temperature",
    drive: str = "thermal",
    footnote: bool = True,
) -> bytes:
    """Return a picture as the bytes of a PNG or SVG; the same result gives the same bytes.

    For many pictures of one series keep a `GasPicture`: it draws only the changing parts.

    Parameters
    ----------
    answer, knudsen, size, theme, quantity, drive
        As for `draw_gas`.
    footnote : bool
        Whether the caption of four lines is under the picture; otherwise a few words.
    kind : str
        ``png`` or ``svg``.

    Raises
    ------
    InputError
        As for `draw_gas`, and for another kind.
    """
    known = option_of({name: name for name in STILLS}, kind.removeprefix("."), "kind")
    picture = picture_of(answer, drive=drive, quantity=quantity, theme=theme, size=size, footnote=footnote)
    if knudsen is not None:
        picture.show(knudsen)
    return picture.svg().encode() if known == "svg" else picture.png(effort=6)


def check_target(path: str | Path, endings: tuple[str, ...], *, replace: bool) -> Path:
    """Return a path that a file can be written to.

    Raises
    ------
    InputError
        The suffix is another one, its folder is missing, or it exists and may not be replaced.
    """
    path = Path(path)
    if path.suffix.lower().removeprefix(".") not in endings:
        ends = " or ".join(f".{ending}" for ending in endings)
        raise InputError(f"'{path.name}' does not say what kind of file it is", fix=f"end the name in {ends}")
    if not path.parent.is_dir():
        raise InputError("its folder does not exist", file=path, fix="make the folder first")
    if path.is_dir():
        raise InputError("is a folder", file=path, fix="name a file")
    if path.exists() and not replace:
        raise InputError("exists already", file=path, fix="choose another name, or say --replace")
    return path


def check_still(path: str | Path, *, replace: bool = False) -> Path:
    """Return the path of a still that can be written.

    Raises
    ------
    InputError
        As for `check_target`.
    """
    return check_target(path, STILLS, replace=replace)


def write_still(path: str | Path, content: bytes, *, replace: bool = False) -> Path:
    """Write the bytes of a still atomically.

    Raises
    ------
    InputError
        As for `check_target`, or the file cannot be written.
    """
    path = check_still(path, replace=replace)
    part: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".", suffix=path.suffix, delete=False) as file:
            part = Path(file.name)
            file.write(content)
        settle(part, path, replace=replace)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=path) from error
    finally:
        if part is not None:
            part.unlink(missing_ok=True)
    return path


def settle(part: Path, path: Path, *, replace: bool) -> None:
    """Rename a finished file, with the permissions of a new file; a file created there meanwhile is kept.

    Raises
    ------
    InputError
        A file of that name was created in the meantime.
    """
    part.chmod(0o644)
    if replace:
        part.replace(path)
        return
    try:
        # A link fails if the name is taken; a rename would overwrite it.
        path.hardlink_to(part)
    except FileExistsError:
        raise InputError(
            "was created by another program in the meantime", file=path, fix="choose another name"
        ) from None
    except OSError:
        # Some file systems have no links.
        if path.exists():
            raise InputError(
                "was created by another program in the meantime", file=path, fix="choose another name"
            ) from None
        part.replace(path)
