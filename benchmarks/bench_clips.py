"""Clips of a rotor: speed of the analysis, and the number of 200 rendered scenes that are right or set aside."""

from __future__ import annotations

import math
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

from measured import Row, from_tests, row

from edgewind.errors import InputError
from edgewind.signals import SET_ASIDE_FLAGS, Tachometry, measure_file

TOLD = Tachometry(1, bright_leads="clockwise")
SIDE = 2000
"""First seed of the scenes filmed from the side."""


def run(full: bool = True) -> list[Row]:
    """Return one row a figure: name, value, unit and target.

    Parameters
    ----------
    full : bool
        200 scenes; else 20, for a look.
    """
    clips = from_tests("support", "clips")
    count = 200 if full else 20
    aside = side_rows(clips, count // 4)
    wrong = turned = given = 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clip.mp4"
        for seed in range(count):
            scene = clips.make_clip_scene(seed)
            clips.render(scene, path, seed)
            try:
                found = measure_file(path, TOLD)
            except InputError:
                continue
            if set(found.speed.flags) & set(SET_ASIDE_FLAGS):
                continue
            given += 1
            error = abs(found.speed.speed_rad_s / (2 * math.pi) - abs(scene.turn_rate_hz))
            wrong += error > 4 * found.speed.speed_u_rad_s / (2 * math.pi)
            turned += found.direction.sense == -math.copysign(1, scene.turn_rate_hz)
        large = clips.ClipScene(2.0, frame_rate_hz=240.0, seconds=2.0, size=(1280, 720), radius_px=250.0)
        clips.render(large, path)
        begin = time.process_time(), time.perf_counter()
        found = measure_file(path, TOLD)
        seconds = time.perf_counter() - begin[1]
    frames = found.trace.samples
    return [
        row("clips wrong by over 4 u, not set aside", 1000 * wrong / count, "in 1,000", "at most 1"),
        row("clips of the wrong direction", 1000 * turned / count, "in 1,000", "at most 1"),
        row("clips that give a speed", 100 * given / count, "%"),
        row("frames of 720p a second", frames / seconds, "1/s", "over 100"),
        *aside,
    ]


def side_rows(clips: Any, count: int) -> list[Row]:
    """Count the scenes filmed from the side that are wrong, and those whose true speed is listed; vanes are stated."""
    wrong = given = listed = 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clip.mp4"
        for seed in range(SIDE, SIDE + count):
            scene = replace(clips.make_clip_scene(seed), side=True, perspective=0.1 * (seed % 3), flatten=1.0)
            clips.render(scene, path, seed)
            truth = abs(scene.turn_rate_hz)
            try:
                found = measure_file(path, Tachometry(scene.vanes))
            except InputError:
                continue
            rate, u = found.speed.speed_rad_s / (2 * math.pi), found.speed.speed_u_rad_s / (2 * math.pi)
            if not set(found.speed.flags) & set(SET_ASIDE_FLAGS):
                given += 1
                wrong += abs(rate - truth) > 4 * u
            assert found.picture is not None
            listed += any(abs(other / truth - 1) < 0.02 for other in (rate, *found.picture.seen.possible_hz))
    return [
        row("clips from the side wrong by over 4 u, not set aside", 1000 * wrong / count, "in 1,000", "at most 1"),
        row("clips from the side that give a speed", 100 * given / count, "%"),
        row("clips from the side that give or list the true speed", 100 * listed / count, "%"),
    ]
