"""Invented clips of a turning rotor: vanes seen from above, with motion blur, rolling shutter, noise, shake and FFmpeg.

Not the model of the analysis: each vane is a bar with an edge, drawn in pixels, brighter or darker than the ground, and
every row of a frame is exposed at its own time.
"""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

import imageio_ffmpeg
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class ClipScene:
    """What is filmed, and how.

    Attributes
    ----------
    turn_rate_hz : float
        Turns a second; positive clockwise in the picture.
    vanes : int
        Number of vanes.
    unequal : float
        How much brighter one vane is than the others.
    frame_rate_hz, seconds : float
        Of the clip.
    exposure, rolling : float
        Share of the time between frames for which a row is exposed, and that it takes to read all rows.
    noise, shake_px, flicker : float
        Standard deviation of the noise in grey levels; of the shake in pixels; share by which the lamp flickers.
    flatten : float
        Height of the ring of vanes over its width, as the camera sees it.
    centre : tuple of float
        Of the rotor, as a share of width and height.
    radius_px : float
        Length of the arms.
    size : tuple of int
        Width and height, pixels.
    variable : float
        Standard deviation of the times of the frames, over the time between them.
    side : bool
        Whether the camera stands in the plane of the arms: vanes, each bright on one face and dark on the other, move
        to and fro before and behind the axis.
    perspective : float
        Of such a picture: by how much nearer vanes look larger, as a share.
    """

    turn_rate_hz: float
    vanes: int = 4
    unequal: float = 0.3
    frame_rate_hz: float = 60.0
    seconds: float = 2.5
    exposure: float = 0.5
    rolling: float = 0.5
    noise: float = 4.0
    shake_px: float = 0.0
    flicker: float = 0.0
    flatten: float = 0.6
    centre: tuple[float, float] = (0.55, 0.45)
    radius_px: float = 34.0
    size: tuple[int, int] = (160, 120)
    variable: float = 0.0
    side: bool = False
    perspective: float = 0.0


def render(scene: ClipScene, path: Path, seed: int = 0, quality: int = 25) -> Path:
    """Write the clip, compressed by FFmpeg, and return its path."""
    random = np.random.default_rng(seed)
    width, height = scene.size
    count = int(scene.seconds * scene.frame_rate_hz)
    begin = np.arange(count) / scene.frame_rate_hz
    frames = np.empty((count, height, width), dtype=np.uint8)
    y, x = np.mgrid[:height, :width].astype(np.float32)
    ground = 90 + 20 * np.sin(x / 17) * np.cos(y / 23)
    start = random.uniform()
    pace = 1 / scene.frame_rate_hz
    for number, time in enumerate(begin):
        dx, dy = random.normal(0, scene.shake_px, 2) if scene.shake_px else (0.0, 0.0)
        px = x - width * scene.centre[0] - dx
        py = y - height * scene.centre[1] - dy
        row_time = time + scene.rolling * pace * y / height
        turns = [
            start + scene.turn_rate_hz * (row_time + part * scene.exposure * pace) for part in (np.arange(4) + 0.5) / 4
        ]
        picture = (_from_side if scene.side else _from_above)(scene, turns, px, py)
        light = 1 + scene.flicker * np.sin(2 * np.pi * 100.0 * time + 0.3)
        frames[number] = np.clip((ground + picture) * light + random.normal(0, scene.noise, picture.shape), 0, 255)
    return encode(frames, scene.frame_rate_hz, path, quality)


def _from_above(
    scene: ClipScene, turns: list[NDArray[np.float32]], px: NDArray[np.float32], py: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return how much brighter than the ground the vanes make each pixel, seen from near the axis, over all turns."""
    py = py / scene.flatten
    radius = np.hypot(px, py)
    ring = (radius > 0.45 * scene.radius_px) & (radius < scene.radius_px)  # nothing is drawn elsewhere
    radius, angle = radius[ring], np.arctan2(py[ring], px[ring]) / (2 * np.pi)
    picture, drawn = np.zeros_like(px), np.zeros_like(px[ring])
    for turn in turns:
        part = np.zeros_like(drawn)
        for vane in range(scene.vanes):
            away = (angle - turn[ring] - vane / scene.vanes + 0.5) % 1.0 - 0.5
            bar = np.clip((0.05 - np.abs(away)) * 2 * np.pi * np.maximum(radius, 4) / 2 + 0.5, 0, 1)
            part += bar * (70 + 70 * scene.unequal * (vane == 0))
        drawn += part / len(turns)
    picture[ring] = drawn
    return picture


def _from_side(
    scene: ClipScene, turns: list[NDArray[np.float32]], px: NDArray[np.float32], py: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return how much brighter than the ground the vanes make each pixel, seen from the side, over all turns.

    To the left of the axis the camera sees the faces that look one way round, to the right those that look the other.
    """
    picture = np.zeros_like(px)
    for turn in turns:
        picture += _side(scene, turn, px, py) / len(turns)
    return picture


def _side(
    scene: ClipScene, turn: NDArray[np.float32], px: NDArray[np.float32], py: NDArray[np.float32]
) -> NDArray[np.float32]:
    picture = np.zeros_like(px)
    row = turn[:, :1] if np.ndim(turn) else np.full((px.shape[0], 1), turn)
    angles = [2 * np.pi * (row + vane / scene.vanes) for vane in range(scene.vanes)]
    for vane in np.argsort([float(np.mean(np.cos(angle))) for angle in angles]):  # those behind first
        across, towards = np.sin(angles[vane]) * scene.radius_px, np.cos(angles[vane])
        larger = 1 + scene.perspective * towards
        ends = np.stack([0.45 * across * larger, across * larger])
        left, right = ends.min(axis=0) - 1.0, ends.max(axis=0) + 1.0
        cover = np.clip(px - left + 0.5, 0, 1) * np.clip(right - px + 0.5, 0, 1)
        cover *= np.clip(0.3 * scene.radius_px * larger - np.abs(py) + 0.5, 0, 1)
        face = np.where(across < 0, 70.0 * (1 + scene.unequal * (vane == 0)), -45.0)
        picture = picture * (1 - cover) + face * cover
    return picture


def encode(frames: NDArray[np.uint8], frame_rate_hz: float, path: Path, quality: int = 25) -> Path:
    """Write grey frames as a clip."""
    _, height, width = frames.shape
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-y", "-loglevel", "error", "-f", "rawvideo", "-pix_fmt", "gray"]
    command += ["-s", f"{width}x{height}", "-r", str(frame_rate_hz), "-i", "-", "-c:v", "libx264", "-threads", "1"]
    command += ["-preset", "ultrafast", "-pix_fmt", "yuv420p", "-crf", str(quality), str(path)]
    subprocess.run(command, input=frames.tobytes(), check=True)
    return path


def make_clip_scene(seed: int) -> ClipScene:
    """Return a scene of any speed, number of vanes, view, exposure and fault, from a seed."""
    random = np.random.default_rng(seed)
    frame_rate = float(random.choice([30.0, 60.0, 120.0]))
    vanes = int(random.choice([2, 3, 4, 4, 6]))
    fastest = 0.8 * frame_rate / vanes
    rate = float(np.exp(random.uniform(np.log(0.6), np.log(fastest)))) * float(random.choice([-1, 1]))
    return ClipScene(
        rate,
        vanes=vanes,
        unequal=float(random.choice([0.0, 0.15, 0.3, 0.6])),
        frame_rate_hz=frame_rate,
        seconds=float(random.uniform(max(2.5 / abs(rate), 2.0), max(2.5 / abs(rate), 2.0) + 2)),
        exposure=float(random.uniform(0.05, 0.95)),
        rolling=float(random.uniform(0, 0.9)),
        noise=float(random.uniform(1, 20)),
        shake_px=float(random.uniform(0, 1.5)) * (random.random() < 0.5),
        flicker=float(random.uniform(0, 0.2)) * (random.random() < 0.5),
        flatten=float(random.uniform(0.4, 1.0)),
        centre=(float(random.uniform(0.4, 0.6)), float(random.uniform(0.4, 0.6))),
        radius_px=float(random.uniform(30, 55)),
    )
