"""One picture on its own: a figure, bytes, or a file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from edgewind.errors import InputError
from edgewind.files import replacing
from edgewind.kinetics import Response
from edgewind.report.film.field import GasField, field_of_response
from edgewind.report.film.picture import GasPicture
from edgewind.report.film.rotor_field import RotorField
from edgewind.report.film.rotor_picture import RotorPicture
from edgewind.report.film.series import GasSeries
from edgewind.report.film.words import Mark, option_of

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
    mark: Mark | None = None,
) -> GasPicture | RotorPicture:
    """Return the picture of a result: of the gas round a vane, or about a rotor from above.

    Parameters
    ----------
    answer : GasField, GasSeries, Response or sequence of RotorField
        The result; a response must have its fields.
    quantity, theme, size, specks, footnote, mark
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
        return GasPicture(gas, quantity=quantity, theme=theme, size=size, specks=specks, footnote=footnote, mark=mark)
    return RotorPicture(answer, quantity=quantity, theme=theme, size=size, footnote=footnote, mark=mark)


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
    mark: Mark | None = None,
) -> bytes:
    """Return a picture as the bytes of a PNG or SVG; the same result gives the same bytes.

    For many pictures of one series keep a `GasPicture`: it draws only the changing parts.

    Parameters
    ----------
    answer, size, theme, quantity, drive, mark
        As for `picture_of`.
    knudsen : float, optional
        Knudsen number in a series; default: its highest.
    footnote : bool
        Whether the caption of four lines is under the picture; otherwise a few words.
    kind : str
        ``png`` or ``svg``.

    Raises
    ------
    InputError
        As for `picture_of`, another kind, or a Knudsen number outside the series.
    """
    known = option_of({name: name for name in STILLS}, kind.removeprefix("."), "kind")
    picture = picture_of(answer, drive=drive, quantity=quantity, theme=theme, size=size, footnote=footnote, mark=mark)
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
        raise InputError("exists already", file=path, fix="choose another name, or add --replace")
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
    with writing(path, replace=replace) as draft:
        draft.write_bytes(content)
    return path


@contextmanager
def writing(path: Path, *, replace: bool) -> Iterator[Path]:
    """Yield a draft that takes the name of a file on success; a file created there meanwhile is kept.

    Raises
    ------
    InputError
        A file of that name was created in the meantime, or the file cannot be written.
    """
    try:
        with replacing(path, replace=replace) as draft:
            yield draft
    except FileExistsError:
        raise InputError(
            "was created by another program in the meantime", file=path, fix="choose another name"
        ) from None
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=path) from error
