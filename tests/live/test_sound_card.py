"""A sound card as the tachometer, by a module in place of the library that records: no machine of tests has a card."""

from __future__ import annotations

import math
import sys
import types
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from edgewind.bench.instruments import TachometerInstrument
from edgewind.clock import Event, SystemClock
from edgewind.extras import MissingExtraError
from edgewind.live.errors import DisconnectedError, GarbledError, InstrumentError
from edgewind.live.sound_card import SoundCard
from edgewind.signals import estimate_speed

RATE = 8000


class FakeLibrary(types.ModuleType):
    """Records invented pulses of 7.1 turns a second, 4 marks, on one channel; the other hears noise."""

    PortAudioError = type("PortAudioError", (Exception,), {})

    def __init__(self, channel: int = 2) -> None:
        super().__init__("sounddevice")
        self.channel = channel
        self.overflows, self.gone, self.asked = 0, False, []

    def query_devices(self, device: Any, kind: str) -> dict[str, Any]:
        if self.gone:
            raise ValueError(f"No input device matching {device!r}")
        return {"name": "USB microphone", "max_input_channels": 2}

    def check_input_settings(self, **settings: Any) -> None:
        if settings["samplerate"] > 48_000:
            raise self.PortAudioError("Invalid sample rate")

    def rec(self, count: int, *, samplerate: float, channels: int, dtype: str, device: Any, blocking: bool) -> Any:
        self.asked.append((count, samplerate, channels, dtype, device))
        time = np.arange(count) / samplerate
        pulses = np.exp(-(((28.4 * time % 1 - 0.5) / 0.1) ** 2)) - 0.2
        noise = np.random.default_rng(1).standard_normal((count, channels))
        heard = 0.02 * noise + pulses[:, None] * (np.arange(channels) == self.channel - 1)
        return np.clip(20_000 * heard, -32_768, 32_767).astype(dtype)

    def wait(self) -> Any:
        self.overflows -= 1
        return types.SimpleNamespace(input_overflow=self.overflows >= 0)

    def stop(self) -> None:
        self.asked.append("stopped")


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> FakeLibrary:
    made = FakeLibrary()
    monkeypatch.setitem(sys.modules, "sounddevice", made)
    return made


class Waits(SystemClock):
    """Notes how long it should wait, and does not."""

    def __init__(self) -> None:
        super().__init__()
        self.waited: list[float] = []

    def wait(self, event: Event, timeout: float | None = None) -> bool:
        self.waited.append(timeout or 0.0)
        return False


def card(**keys: Any) -> tuple[SoundCard, Waits]:
    clock = Waits()
    described = TachometerInstrument(**{"sound_card": "default", "sample_rate": f"{RATE} Hz", **keys})
    return SoundCard(described, clock), clock


def test_a_reading_is_taken_from_the_sound_card(library: FakeLibrary) -> None:
    tachometer, clock = card(input_channel=2, duration="4 s", sound_card="USB")
    trace = tachometer.take().trace()
    assert trace.coupled
    assert clock.waited == [4.0] and library.asked == [(4 * RATE, RATE, 2, "int16", "USB")]
    assert tachometer.identity == "USB microphone"
    assert estimate_speed(trace, 4).speed_rad_s == pytest.approx(2 * math.pi * 7.1, rel=1e-4)
    assert tachometer.take(1.0).trace().samples == RATE


@pytest.mark.parametrize(
    ("spoil", "keys", "error", "message"),
    [
        (lambda library: setattr(library, "gone", True), {}, DisconnectedError, "No input device .*name the input"),
        (lambda library: None, {"sample_rate": "192 kHz"}, DisconnectedError, "Invalid sample rate"),
        (lambda library: None, {"input_channel": 3}, DisconnectedError, "has no input channel 3"),
        (lambda library: setattr(library, "overflows", 9), {}, GarbledError, "lost samples"),
    ],
)
def test_impossible_recordings_are_refused(
    library: FakeLibrary, spoil: Callable[[Any], None], keys: dict[str, Any], error: type[InstrumentError], message: str
) -> None:
    spoil(library)
    with pytest.raises(error, match=message):
        card(**keys)[0].take(0.1)


def test_lost_samples_are_recorded_again(library: FakeLibrary) -> None:
    library.overflows = 2
    assert card()[0].take(0.1).trace().samples == RATE // 10 and len(library.asked) == 3


def test_without_the_package_or_its_library_the_message_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(MissingExtraError, match=r"edgewind\[sound\]"):
        card()[0].take(0.1)

    def broken(*_: Any, **__: Any) -> None:
        raise OSError("PortAudio library not found")

    monkeypatch.setattr("edgewind.live.sound_card.need", broken)
    with pytest.raises(DisconnectedError, match=r"PortAudio library not found.*libportaudio2"):
        card()[0].verify()
