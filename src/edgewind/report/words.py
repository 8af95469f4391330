"""What the report says in words: flags, verdicts and cautions, each in one place."""

from __future__ import annotations

from edgewind.cautions import cautions
from edgewind.evidence.optimum import REASONS

FLAGS: dict[str, str] = {
    "under-range": (
        "The gauge's output lay below what it can tell from zero. The pressure is a flag and not a number; set aside."
    ),
    "over-range": (
        "The gauge's output lay above the end of its range. The pressure is a flag and not a number; set aside."
    ),
    "drifting": "The speed changed within the trace, or the phase jumped: there is no single speed to give; set aside.",
    "short": "The trace holds fewer than two turns, too few to average over unequal marks; set aside.",
    "aliased": "The pulses came too fast for the sample rate, so that the speed may be false; set aside.",
    "no-signal": "Nothing in the trace turns: no speed is given; set aside.",
    "coast-down": "The lamp was off and the rotor slowed down: the reading gives drag and friction, and no speed.",
    "time-assumed": "The interval between samples rests on a guess; set aside.",
    "channel-assumed": "Several channels differ, or columns may be no channels, and none was chosen; set aside.",
    "near-mains": "The pulses come at the rate of the mains and cannot be distinguished from its hum; set aside.",
    "jumps": "Another speed explains the trace as well: pulses are missing or few; set aside.",
    "marks-doubtful": "The pattern of the pulses repeats after another number of marks than was given; set aside.",
    "missed-marks": "Some pulses are missing, or there are some too many. The speed allows for them and is used.",
    "clipped": "Pulses are cut off at the recorder's limit. Their times are still good, and the speed is used.",
}
"""What each flag means, and whether the reading is used."""

VERDICTS: dict[str, str] = {
    "ruled out": "its sign or its size contradicts the readings",
    "sufficient": "it accounts for every reading by itself, and nothing else does",
    "compatible": "the readings do not contradict it, and do not need it alone",
    "contributes": "it is present, and not enough by itself",
    "cannot tell": "these readings and this version do not decide",
}
"""What each verdict on a mechanism means."""


def not_found(reason: str) -> str:
    """Say in a clause why no optimum is claimed."""
    return REASONS.get(reason, reason)


CAUTIONS: tuple[str, ...] = cautions()
"""What to mind at the bench."""
