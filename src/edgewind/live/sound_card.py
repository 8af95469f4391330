"""A sound card as the tachometer of a bench: a sensor in its microphone socket, recorded through PortAudio."""

from __future__ import annotations

import math
import threading
from types import ModuleType
from typing import Any

import numpy as np

from edgewind.bench.instruments import TachometerInstrument
from edgewind.clock import Clock, Event, SystemClock
from edgewind.extras import need
from edgewind.live.devices import Attend, RawTrace
from edgewind.live.errors import DisconnectedError, GarbledError, InstrumentError

FULL_SCALE = 32_768
SEE = "check that the sensor is plugged in, and name the input: sound_card = 'default', its name or its number"


class SoundCard:
    """An input of a sound card, with the interface of an oscilloscope.

    Full scale is taken as one volt, as for sound files: a sound card states no voltage.

    Parameters
    ----------
    described : TachometerInstrument
        Its input, channel and sample rate.
    clock : Clock, optional
        Its clock; default: that of the machine.
    """

    role = "tachometer"
    has_rate = False
    is_signed = False
    has_own_clock = False

    def __init__(self, described: TachometerInstrument, clock: Clock | None = None) -> None:
        self._described, self._clock = described, clock or SystemClock()
        self._found = ""

    @property
    def identity(self) -> str:
        """Name of the input after its first query; empty before."""
        return self._found

    def verify(self) -> None:
        """Check that the input exists and can record at the requested rate.

        Raises
        ------
        InstrumentError
            It does not exist, or cannot record at this rate.
        MissingExtraError
            The package that records is not installed.
        """
        library, device = self._library(), self._device()
        try:
            about: Any = library.query_devices(device, "input")
            channel, rate = self._described.input_channel, self._described.sample_rate.value
            if int(about["max_input_channels"]) < channel:
                raise DisconnectedError(self.role, f"'{about['name']}' has no input channel {channel}", SEE)
            library.check_input_settings(device=device, channels=channel, dtype="int16", samplerate=rate)
        except InstrumentError:
            raise
        except Exception as error:  # PortAudio's errors are of the library's own kinds
            raise DisconnectedError(self.role, f"the sound card cannot be used ({_first_line(error)})", SEE) from None
        self._found = str(about["name"])

    def time_s(self) -> float:
        """Return the time by the clock of the computer, s."""
        return self._clock.monotonic()

    def rate_hz(self) -> float:
        """Return nan: a sound card counts no pulses."""
        return math.nan

    def take(self, duration_s: float | None = None, attend: Attend | None = None) -> RawTrace:
        """Record a trace.

        Parameters
        ----------
        duration_s : float, optional
            Its length, s; default: that of the bench.
        attend : callable, optional
            Waits for an event, up to a number of seconds, and handles other tasks meanwhile; default: waits only.

        Raises
        ------
        InstrumentError
            Nothing could be recorded, or samples were lost, in all attempts.
        """
        for left in range(self._described.retries, -1, -1):
            try:
                return self._once(duration_s or self._described.duration.value, attend or self._wait)
            except GarbledError:
                if not left:
                    raise
        raise AssertionError("not reached")

    def _wait(self, event: Event, seconds: float) -> None:
        self._clock.wait(event, seconds)

    def _once(self, duration_s: float, attend: Attend) -> RawTrace:
        if not self._found:
            self.verify()
        library, channel = self._library(), self._described.input_channel
        rate = self._described.sample_rate.value
        count = math.ceil(duration_s * rate)
        try:
            samples = library.rec(
                count, samplerate=rate, channels=channel, dtype="int16", device=self._device(), blocking=False
            )
            try:
                attend(threading.Event(), duration_s)
            except BaseException:
                library.stop()
                raise
            lost = library.wait()
        except (OSError, library.PortAudioError) as error:
            self._found = ""
            raise DisconnectedError(self.role, f"the sound card stopped ({_first_line(error)})", SEE) from None
        if lost is not None and getattr(lost, "input_overflow", bool(lost)):
            raise GarbledError(self.role, "the sound card lost samples: the computer was too busy")
        numbers = np.array(samples)[:, channel - 1]
        if numbers.size != count:
            raise GarbledError(self.role, f"the sound card recorded {numbers.size} of {count} samples")
        return RawTrace(numbers, 1 / rate, 1 / FULL_SCALE, 0.0, coupled=True)

    def _device(self) -> str | int | None:
        named = str(self._described.sound_card)
        return None if named == "default" else int(named) if named.isdecimal() else named

    def _library(self) -> ModuleType:
        try:
            return need("sounddevice", extra="sound", purpose="to record from a sound card")
        except OSError as error:  # the package is installed, but not the library that it needs
            raise DisconnectedError(
                self.role, f"sound cannot be recorded here ({_first_line(error)})", "install PortAudio (libportaudio2)"
            ) from None


def _first_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:120]
