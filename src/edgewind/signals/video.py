"""Clips of a turning rotor, decoded by FFmpeg: small grey frames with their time stamps, in bounded memory."""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.extras import need
from edgewind.signals.trace_table import checked_size

FloatArray = NDArray[np.float64]
ByteArray = NDArray[np.uint8]

VIDEO_SUFFIXES = (".mp4", ".mov", ".m4v", ".mkv", ".avi", ".webm", ".3gp", ".mpg", ".mpeg")
MOST_BYTES = 4_000_000_000
WIDTH = 128
"""Width of a reduced frame, or of a given region, in pixels."""
MOST_FRAMES = 12_000
"""Frames that are read: 50 s at 240 a second, 110 MB at 16:9."""
LEAST_FRAMES = 12
MOST_PIXELS = 40_000_000
"""Pixels of a picture: more than those of 8K, which FFmpeg decodes in 1 GB."""
OPEN_S = 30.0
ALONE = ("-protocol_whitelist", "file", "-format_whitelist", "mov,matroska,avi,mpeg,mpegvideo,mpegts")
"""Protocols that FFmpeg may open: this file only, no playlist that leads to other files or addresses."""


@dataclass(frozen=True)
class Clip:
    """Grey frames of a clip.

    Attributes
    ----------
    frames : array of uint8, shape (n, height, width)
        Brightness, reduced in size.
    time_s : array, shape (n,)
        Time stamp of each frame, from the first.
    scale : float
        Pixels of the clip for each of a frame.
    corner : tuple of int
        Of the region in the clip, x and y, pixels.
    capture_fps : float or None
        Frames a second at which the camera says that it recorded, where the clip states it.
    notes : tuple of str
        Omissions.
    """

    frames: ByteArray
    time_s: FloatArray
    scale: float
    corner: tuple[int, int]
    capture_fps: float | None = None
    notes: tuple[str, ...] = ()


def is_video(path: str | PathLike[str]) -> bool:
    """Return whether a file is named as a clip is."""
    return Path(path).suffix.lower() in VIDEO_SUFFIXES


def read_clip(path: str | PathLike[str], region: tuple[int, int, int, int] | None = None) -> Clip:
    """Return the frames of a clip, reduced to small grey ones.

    Parameters
    ----------
    path : path
        The clip, in any format that FFmpeg reads.
    region : tuple of int, optional
        Where the rotor is: x, y, width and height in pixels of the clip; all of it when left out.

    Raises
    ------
    InputError
        The clip cannot be decoded, has no picture or too few frames, or the region lies outside of it.
    MissingExtraError
        The package that brings FFmpeg is not installed.
    """
    checked_size(path, MOST_BYTES)
    program = need("imageio_ffmpeg", extra="film", purpose="to read a video clip").get_ffmpeg_exe()
    said = _run([program, "-hide_banner", "-nostdin", *ALONE, "-i", _local(path)], OPEN_S).decode("utf-8", "replace")
    stream = re.search(r"Stream #.*Video:.*?(?P<width>\d{2,5})x(?P<height>\d{2,5})", said)
    if stream is None or "attached pic" in said[stream.start() : said.find("\n", stream.start())]:
        if "Audio:" in said:
            raise InputError("the clip holds sound and no picture", fix="save the sound as .wav, or record a video")
        raise InputError("this is not a video clip that can be decoded", fix="record it again, as .mp4 or .mov")
    width, height = int(stream["width"]), int(stream["height"])
    if width * height > MOST_PIXELS:
        raise InputError(
            f"the picture of {width} x {height} pixels is too large to be decoded",
            fix=f"convert the clip to {MOST_PIXELS // 1_000_000} million pixels or fewer: 1280 x 720 are plenty",
        )
    turned = re.search(r"rotation of (-?\d+)", said)
    if turned and abs(int(turned[1])) % 180 == 90:
        width, height = height, width
    x, y, wide, high = region or (0, 0, width, height)
    if not (x >= 0 and y >= 0 and wide >= 8 and high >= 8 and x + wide <= width and y + high <= height):
        raise InputError(
            f"the region {x},{y},{wide},{high} does not lie in the picture of {width} x {height} pixels",
            fix="give x,y,width,height in pixels",
        )
    small = min(WIDTH, wide)
    tall = max(2, round(small * high / wide))
    filters = f"showinfo=checksum=0,crop={wide}:{high}:{x}:{y},scale={small}:{tall}:flags=area,format=gray"
    command = [
        program,
        "-hide_banner",
        "-nostdin",
        "-nostats",
        "-threads",
        "1",
        *ALONE,
        "-i",
        _local(path),
        "-map",
        "0:v:0",
    ]
    command += ["-vf", filters, "-fps_mode", "passthrough", "-frames:v", str(MOST_FRAMES + 1), "-f", "rawvideo", "-"]
    frames, told = _decode(command, tall * small)
    stamps = np.array([float(text) for text in re.findall(r"pts_time:\s*(-?[\d.]+(?:e-?\d+)?)", told)])
    count = min(len(frames), stamps.size)
    notes: list[str] = []
    if count > MOST_FRAMES:
        count = MOST_FRAMES
        notes.append(f"the first {MOST_FRAMES} frames are read")
    if count < LEAST_FRAMES:
        raise InputError(f"the clip has {count} frames", fix=f"{LEAST_FRAMES} or more are needed, of two turns or more")
    if len(frames) != stamps.size and count < MOST_FRAMES:
        notes.append(f"{abs(len(frames) - stamps.size)} frames at the end are damaged and left out")
    time = stamps[:count] - stamps[0]
    if not np.all(np.diff(time) > 0):
        raise InputError("the time stamps of the frames do not increase", fix="record the clip again, or convert it")
    capture = re.search(r"capture\.fps\s*:\s*([\d.]+)", said)
    return Clip(
        frames[:count].reshape(count, tall, small),
        time,
        wide / small,
        (x, y),
        float(capture[1]) if capture else None,
        tuple(notes),
    )


def _local(path: str | PathLike[str]) -> str:
    """Return a path that FFmpeg cannot take for a protocol or an option."""
    return f"file:{Path(path).absolute()}"


def _run(command: list[str], limit_s: float) -> bytes:
    """Return the error stream of a program, with any exit status."""
    try:
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=limit_s, check=False)
    except subprocess.TimeoutExpired:
        raise InputError("FFmpeg does not come to an end with this file", fix="record the clip again") from None
    return done.stderr[-200_000:]


def _decode(command: list[str], size: int) -> tuple[ByteArray, str]:
    """Return the decoded frames, each of a given number of bytes, and the messages of FFmpeg."""
    most = (MOST_FRAMES + 1) * size
    with tempfile.TemporaryFile() as told:
        with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=told) as program:
            assert program.stdout is not None
            data = bytearray()
            read: Callable[[int], bytes] = program.stdout.read
            while len(data) < most and (part := read(min(1 << 20, most - len(data)))):
                data += part
            program.kill()
        told.seek(0)
        text = told.read(MOST_FRAMES * 600).decode("utf-8", "replace")
    count = len(data) // size
    return np.frombuffer(data, dtype=np.uint8, count=count * size).reshape(count, size), text
