"""Texts of the report: meaning of flags and verdicts, and the cautions."""

from __future__ import annotations

from edgewind.cautions import cautions

FLAGS: dict[str, str] = {
    "under-range": (
        "The gauge's output was too low to be distinguished from zero. The reading has no pressure and is set aside."
    ),
    "over-range": ("The gauge's output was above the end of its range. The reading has no pressure and is set aside."),
    "drifting": "The speed changed within the trace, or the phase jumped: there is no single speed; set aside.",
    "short": "The trace has fewer than two turns, too few to average over unequal marks; set aside.",
    "aliased": "The pulses are too fast for the sample rate, so that the speed may be wrong; set aside.",
    "no-signal": "The trace shows no rotation, so there is no speed; set aside.",
    "coast-down": "The lamp was off and the rotor slowed down: the reading gives drag and friction, and no speed.",
    "time-assumed": "The sample interval is a guess; set aside.",
    "channel-assumed": "Several channels differ, or columns may not be channels, and none was chosen; set aside.",
    "near-mains": "The pulses have the frequency of the mains and cannot be distinguished from hum; set aside.",
    "jumps": "Another speed explains the trace equally well: pulses are missing or few; set aside.",
    "marks-doubtful": "The pattern of the pulses repeats after another number of marks than the stated one; set aside.",
    "missed-marks": "Some pulses are missing, or there are additional ones. The speed allows for them and is used.",
    "clipped": "Pulses are cut off at the recorder's limit. Their times are valid, and the speed is used.",
}
"""What each flag means, and whether the reading is used."""

VERDICTS: dict[str, str] = {
    "ruled out": "its sign or its size contradicts the readings",
    "sufficient": "it explains every reading by itself, and no other mechanism does",
    "compatible": "it explains the readings by itself, but others may do so, too",
    "contributes": "it acts, but does not explain the readings by itself",
    "cannot tell": "these readings do not decide",
}
"""What each verdict on a mechanism means."""


def not_found(reason: str) -> str:
    """Return a clause on why no optimum is claimed."""
    from edgewind.evidence.optimum import REASONS  # on first use: the pages show words without it

    return REASONS.get(reason, reason)


CAUTIONS: tuple[str, ...] = cautions()
"""Cautions for the bench."""
