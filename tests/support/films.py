"""Content of a film file, read frame by frame."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import imageio_ffmpeg


def read_back(path: Path) -> dict[str, Any]:
    """Return number of frames, frames a second, duration, size and codec of a film."""
    reader = imageio_ffmpeg.read_frames(str(path))
    about = next(reader)
    frames = sum(1 for _ in reader)
    return {
        "frames": frames, "fps": about["fps"], "seconds": about["duration"], "size": tuple(about["size"]),
        "codec": about["codec"], "pix_fmt": about["pix_fmt"],
    }  # fmt: skip
