"""The film: frames from the thinnest gas to the densest or back, encoded by FFmpeg as they are drawn."""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import EdgewindError, InputError, OutOfRangeError
from edgewind.extras import need
from edgewind.report.film.series import GasSeries
from edgewind.report.film.still import check_target, picture_of, writing
from edgewind.report.film.words import Mark

if TYPE_CHECKING:
    from edgewind.report.film.rotor_field import RotorField

Floats = NDArray[np.float64]

FILMS = ("mp4",)
# H.264 in yuv420p plays everywhere; quality 17 is near what the eye can tell from the original.
_QUALITY = "17"


@dataclass(frozen=True)
class Film:
    """A film that was written.

    Attributes
    ----------
    path : Path
        The file.
    frames : int
        Number of frames.
    fps : int
        Frames shown in a second.
    width, height : int
        Pixels.
    knudsen_first : float
        Knudsen number where the film begins.
    knudsen_last : float
        Knudsen number where it ends.
    bytes : int
        Size of the file.
    """

    path: Path
    frames: int
    fps: int
    width: int
    height: int
    knudsen_first: float
    knudsen_last: float
    bytes: int

    @property
    def seconds(self) -> float:
        """Duration."""
        return self.frames / self.fps


def places(first: float, last: float, frames: int, *, hold: float = 0.08) -> Floats:
    """Return the Knudsen number of each frame: evenly spaced in its logarithm, with pauses at both ends and smooth
    starts.

    Parameters
    ----------
    first, last : float
        Knudsen numbers at the ends.
    frames : int
        How many.
    hold : float
        Part of the film that rests at each end.

    Examples
    --------
    >>> places(10.0, 0.1, 5, hold=0.0).round(3).tolist()
    [10.0, 3.594, 1.0, 0.278, 0.1]
    """
    if frames == 1:
        return np.array([first])
    t = np.clip((np.linspace(0.0, 1.0, frames) - hold) / (1.0 - 2.0 * hold), 0.0, 1.0)
    # Speed rises over the first tenth, is even, and falls over the last tenth.
    ramp = 0.1
    v = 1.0 / (1.0 - ramp)
    s = np.where(
        t < ramp,
        0.5 * v * t**2 / ramp,
        np.where(t > 1.0 - ramp, 1.0 - 0.5 * v * (1.0 - t) ** 2 / ramp, v * (t - 0.5 * ramp)),
    )
    return np.asarray(np.exp(np.log(first) + s * (np.log(last) - np.log(first))))


def check_timing(seconds: float, fps: int) -> int:
    """Return the number of frames.

    Raises
    ------
    OutOfRangeError
        A duration or a rate that is impossible.
    """
    if not 1 <= fps <= 120:
        raise OutOfRangeError(f"the frame rate cannot be {fps} a second", key="fps", fix="stay between 1 and 120")
    if not 0.1 <= seconds <= 600.0:
        raise OutOfRangeError(
            f"the duration of a film cannot be {seconds:g} s", key="seconds", fix="stay between 0.1 and 600"
        )
    return max(2, round(seconds * fps))


def check_film(
    path: str | Path, knudsen: Sequence[float], *, seconds: float = 12.0, fps: int = 30, replace: bool = False
) -> Path:
    """Check the options of a film before any work, and return its path.

    Raises
    ------
    InputError
        An impossible duration, rate, name or place, fewer than two Knudsen numbers, or a missing FFmpeg.
    """
    check_timing(seconds, fps)
    checked = check_target(path, FILMS, replace=replace)
    if len(knudsen) < 2:
        raise InputError(
            "a film needs two Knudsen numbers or more", key="knudsen", fix="give two or more, or make a still"
        )
    ffmpeg_program()
    return checked


def make_film(
    path: str | Path,
    gas: GasSeries | Sequence[RotorField],
    *,
    quantity: str = "temperature",
    theme: str = "dark",
    size: str = "1080p",
    seconds: float = 12.0,
    fps: int = 30,
    dense_first: bool = False,
    specks: bool = True,
    footnote: bool = True,
    mark: Mark | None = None,
    replace: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Film:
    """Draw a film of the gas over the Knudsen number and write it as an MP4 (H.264, yuv420p).

    Frames go to FFmpeg one by one, so that memory holds one of them for any length. The file is written to a temporary
    name and renamed when complete: an interruption leaves nothing.

    Parameters
    ----------
    path : path
        Path of the film, ending in ``.mp4``.
    gas : GasSeries or sequence of RotorField
        The gas round a vane, or about a rotor, at two Knudsen numbers or more.
    quantity, theme, size : str
        Keys of `QUANTITIES`, `THEMES` and `SIZES`.
    seconds, fps : float, int
        Duration and frames a second.
    dense_first : bool
        Whether it runs from dense gas to thin, as in a pump-down; otherwise as when gas is let in.
    specks : bool
        Whether specks drift along closed lines; never about a rotor.
    footnote : bool
        Whether the caption of four lines stands under the picture; a few words otherwise.
    mark : Mark, optional
        A place to mark on the curve.
    replace : bool
        Whether a file that exists may be replaced.
    progress : callable, optional
        Called with the frames done and the total number.

    Raises
    ------
    InputError
        An impossible name, size or duration, gas at one Knudsen number, an existing file, or a missing or failing
        FFmpeg.
    """
    frames = check_timing(seconds, fps)
    fields = gas.fields if isinstance(gas, GasSeries) else gas
    path = check_film(path, [field.knudsen for field in fields], seconds=seconds, fps=fps, replace=replace)
    picture = picture_of(gas, quantity=quantity, theme=theme, size=size, specks=specks, footnote=footnote, mark=mark)
    first, last = picture.ends if dense_first else picture.ends[::-1]
    images = picture.frames(places(first, last, frames), fps)
    with writing(path, replace=replace) as draft:
        _code(draft, images, (picture.width, picture.height), fps, frames, progress)
    return Film(path, frames, fps, picture.width, picture.height, first, last, path.stat().st_size)


def ffmpeg_program() -> str:
    """Return the FFmpeg that encodes films: that of ``IMAGEIO_FFMPEG_EXE``, else the one of the extra `film`.

    Raises
    ------
    EdgewindError
        There is none; the message states how to install it.
    """
    named = os.environ.get("IMAGEIO_FFMPEG_EXE")
    if named:
        return named
    brings = need("imageio_ffmpeg", extra="film", purpose="to code a film")
    try:
        return str(brings.get_ffmpeg_exe())
    except RuntimeError as error:
        raise EdgewindError(
            "no FFmpeg was found to encode the film; name one in the environment variable IMAGEIO_FFMPEG_EXE"
        ) from error


def _code(
    part: Path,
    frames: Iterator[NDArray[np.uint8]],
    size: tuple[int, int],
    fps: int,
    total: int,
    progress: Callable[[int, int], None] | None,
) -> None:
    """Send frames to FFmpeg; its messages are stored for the error."""
    program = ffmpeg_program()
    command = [
        program, "-y", "-loglevel", "error", "-nostdin",
        "-f", "rawvideo", "-pix_fmt", "rgba", "-s", f"{size[0]}x{size[1]}", "-r", str(fps), "-i", "-",
        # Colours by the standard for high definition, as stated in the file.
        "-vf", "scale=out_color_matrix=bt709:out_range=tv", "-colorspace", "bt709", "-color_primaries", "bt709",
        "-color_trc", "bt709", "-color_range", "tv",
        "-c:v", "libx264", "-preset", "medium", "-crf", _QUALITY, "-pix_fmt", "yuv420p", "-movflags", "+faststart",
        str(part),
    ]  # fmt: skip
    with tempfile.TemporaryFile() as said:
        try:
            # A process group of its own: Ctrl-C ends this program, which then ends FFmpeg.
            process: subprocess.Popen[bytes] = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=said, start_new_session=True
            )
        except OSError as error:
            raise EdgewindError(f"FFmpeg at {program} does not start: {error.strerror}") from error
        assert process.stdin is not None
        broken = False
        try:
            for done, frame in enumerate(frames, start=1):
                process.stdin.write(np.ascontiguousarray(frame).data)
                if progress is not None:
                    progress(done, total)
            process.stdin.close()
        except BrokenPipeError:
            broken = True
        except BaseException:
            process.kill()
            process.wait()
            raise
        if process.wait() != 0 or broken:
            said.seek(0)
            lines = said.read().decode(errors="replace").strip().splitlines()
            why = lines[-1] if lines else f"it ended with status {process.returncode}"
            raise EdgewindError(f"FFmpeg could not encode the film: {why}")
