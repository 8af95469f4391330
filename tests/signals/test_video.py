"""Clips of a rotor: speed and direction from rendered ones; files that are not clips. The benchmark has 200 scenes."""

from __future__ import annotations

import math
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")
from support.clips import ClipScene, encode, make_clip_scene, render  # noqa: E402

from edgewind.errors import EdgewindError, InputError  # noqa: E402
from edgewind.signals import Tachometry, measure_file, video  # noqa: E402
from edgewind.signals.turning_picture import speed_in  # noqa: E402
from edgewind.signals.video import Clip, read_clip  # noqa: E402

CLIP = Tachometry(4, bright_leads="clockwise")


@pytest.mark.parametrize(
    "scene",
    [
        ClipScene(2.3),
        ClipScene(-9.7, exposure=0.9, rolling=0.9),
        ClipScene(1.2, noise=15.0, shake_px=1.0, flicker=0.2),
        ClipScene(-3.3, vanes=2, flatten=0.35, centre=(0.4, 0.55)),
    ],
)
def test_speed_and_direction_of_a_rendered_rotor_are_recovered(tmp_path: Path, scene: ClipScene) -> None:
    found = measure_file(render(scene, tmp_path / "clip.mp4"), CLIP)
    rate, u = found.speed.speed_rad_s / (2 * math.pi), found.speed.speed_u_rad_s / (2 * math.pi)
    assert found.speed.flags == () and found.speed.method == "video"
    assert abs(rate - abs(scene.turn_rate_hz)) < 4 * u < 0.01 * rate
    assert found.direction.sense == math.copysign(1, scene.turn_rate_hz)


def test_identical_vanes_that_may_be_aliased_are_flagged_with_the_possible_speeds(tmp_path: Path) -> None:
    path = render(ClipScene(11.2, unequal=0.0), tmp_path / "clip.mp4")
    found = measure_file(path, CLIP)
    assert "aliased" in found.speed.flags and found.direction.sense == 0
    assert found.picture is not None
    assert any(abs(rate - 11.2) < 0.05 for rate in found.picture.seen.possible_hz)
    assert any("possible are" in note for note in found.trace.notes)
    # a rotor that cannot be so fast
    slow = render(ClipScene(3.1, unequal=0.0), tmp_path / "slow.mp4")
    told = measure_file(slow, replace(CLIP, fastest_rad_s=2 * math.pi * 7))
    assert told.speed.flags == () and told.speed.speed_rad_s == pytest.approx(2 * math.pi * 3.1, rel=1e-3)


def test_a_rotor_seen_from_the_side_gives_its_speed_and_no_direction(tmp_path: Path) -> None:
    """One vane that differs tells the speed from those folded onto it; the number of vanes has to be stated."""
    scene = ClipScene(-6.3, unequal=0.6, side=True, perspective=0.1, flatten=1.0)
    path = render(scene, tmp_path / "clip.mp4")
    found = measure_file(path, CLIP)
    rate, u = found.speed.speed_rad_s / (2 * math.pi), found.speed.speed_u_rad_s / (2 * math.pi)
    assert found.speed.flags == () and abs(rate - 6.3) < 4 * u < 0.01 * rate
    assert found.direction.sense == 0 and found.direction.why.startswith("from the side a vane")
    assert any("seen from the side" in note for note in found.trace.notes)
    assert "marks-doubtful" in measure_file(path, replace(CLIP, marks=1)).speed.flags
    alike = measure_file(render(replace(scene, unequal=0.0), tmp_path / "alike.mp4"), CLIP)
    assert alike.picture is not None and "aliased" in alike.speed.flags
    listed = (alike.speed.speed_rad_s / (2 * math.pi), *alike.picture.seen.possible_hz)
    assert min(abs(rate - 6.3) for rate in listed) < 0.02


def test_identical_vanes_from_the_side_are_not_unfolded_by_their_own_harmonics(tmp_path: Path) -> None:
    """Two of 100 clips once gave a wrong speed unsaid: 21.4 turns a second for 1.4, and 24.1 for 4.1."""
    scene = replace(make_clip_scene(2013), side=True, perspective=0.1 * (2013 % 3), flatten=1.0)
    found = measure_file(render(scene, tmp_path / "clip.mp4", 2013), Tachometry(scene.vanes))
    assert "aliased" in found.speed.flags and found.picture is not None
    listed = (found.speed.speed_rad_s / (2 * math.pi), *found.picture.seen.possible_hz)
    assert min(abs(rate - abs(scene.turn_rate_hz)) for rate in listed) < 0.02


def test_a_weak_line_once_a_turn_alone_does_not_unfold_four_identical_vanes(tmp_path: Path) -> None:
    """A line that compression made once gave 10.1 turns a second for 2.6, unflagged."""
    found = measure_file(render(make_clip_scene(23), tmp_path / "clip.mp4", 23), CLIP)
    assert "aliased" in found.speed.flags and found.picture is not None
    listed = (found.speed.speed_rad_s / (2 * math.pi), *map(abs, found.picture.seen.possible_hz))
    assert min(abs(rate - 2.628) for rate in listed) < 0.01


def test_uneven_time_stamps_are_used_unchanged(tmp_path: Path) -> None:
    clip = read_clip(render(ClipScene(2.3), tmp_path / "clip.mp4"))
    random = np.random.default_rng(1)
    kept = np.sort(random.choice(len(clip.frames), int(0.7 * len(clip.frames)), replace=False))
    uneven = Clip(clip.frames[kept], clip.time_s[kept] - clip.time_s[kept[0]], clip.scale, clip.corner)
    found = speed_in(uneven)
    assert found.turn_rate_hz == pytest.approx(2.3, rel=3e-3)


def test_a_slow_motion_clip_is_corrected_by_the_time_between_frames(tmp_path: Path) -> None:
    path = render(ClipScene(1.2), tmp_path / "clip.mp4")
    found = measure_file(path, replace(CLIP, interval_s=1 / 240))
    assert found.speed.speed_rad_s == pytest.approx(2 * math.pi * 4.8, rel=1e-3)


def test_files_that_are_not_clips_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program = imageio_ffmpeg.get_ffmpeg_exe()
    sound = tmp_path / "sound.mp4"
    source = ["-f", "lavfi", "-i", "sine=frequency=440:duration=1"]
    subprocess.run([program, "-y", "-loglevel", "error", *source, str(sound)], check=True)
    with pytest.raises(InputError, match=r"sound\.mp4: the clip holds sound and no picture"):
        measure_file(sound, CLIP)
    (tmp_path / "junk.mp4").write_bytes(b"not a clip" * 100)
    with pytest.raises(InputError, match="not a video clip that can be decoded"):
        measure_file(tmp_path / "junk.mp4", CLIP)
    source = ["-f", "lavfi", "-i", "color=s=64x48:r=30:d=1", "-frames:v", "0"]
    subprocess.run([program, "-y", "-loglevel", "error", *source, str(tmp_path / "empty.mp4")], check=True)
    with pytest.raises(InputError, match="not a video clip that can be decoded"):
        measure_file(tmp_path / "empty.mp4", CLIP)
    short = encode(np.zeros((5, 32, 48), dtype=np.uint8), 30.0, tmp_path / "short.mp4")
    with pytest.raises(InputError, match="the clip has 5 frames"):
        measure_file(short, CLIP)
    noise = np.random.default_rng(1).integers(80, 120, (90, 48, 64), dtype=np.uint8)
    with pytest.raises(InputError, match="nothing"):
        measure_file(encode(noise, 30.0, tmp_path / "still.mp4"), CLIP)
    whole = render(ClipScene(2.3, seconds=1.0), tmp_path / "whole.mp4").read_bytes()
    (tmp_path / "cut.mp4").write_bytes(whole[: len(whole) // 3])
    with pytest.raises(EdgewindError):
        measure_file(tmp_path / "cut.mp4", CLIP)
    with pytest.raises(InputError, match="does not lie in the picture of 160 x 120"):
        measure_file(tmp_path / "whole.mp4", replace(CLIP, region=(100, 0, 100, 100)))
    monkeypatch.setattr(video, "MOST_PIXELS", 10_000)
    with pytest.raises(InputError, match="the picture of 160 x 120 pixels is too large"):
        measure_file(tmp_path / "whole.mp4", CLIP)
