"""What the report says in words: flags, verdicts, cautions and limits, each in one place."""

from __future__ import annotations

from edgewind.cautions import cautions
from edgewind.evidence.torque import FREE_MOLECULAR_DRAG_U, LEAST_KNUDSEN

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
    "missed-marks": "Some pulses are missing, or there are some too many. The speed allows for them and is used.",
    "clipped": "Pulses are cut off at the recorder's limit. Their times are still good, and the speed is used.",
}
"""What each flag means, and whether the reading is used."""

VERDICTS: dict[str, str] = {
    "ruled out": "its sign or its size contradicts the readings",
    "sufficient": "its sign agrees, and it is large enough by itself",
    "contributes": "it is present, and not enough by itself",
    "cannot tell": "these readings and this version do not decide",
}
"""What each verdict on a mechanism means."""

_NOT_FOUND = {
    "peak at the low edge": "the speed still rises towards the lowest pressure measured",
    "peak at the high edge": "the speed still rises towards the highest pressure measured",
    "flat within noise": "the speed does not change by more than its noise",
    "too few readings": "there are too few usable readings at different pressures",
    "drift between sweeps": "the sweeps differ by more than one curve can carry",
}


def not_found(reason: str) -> str:
    """Say in a clause why no optimum is claimed."""
    return _NOT_FOUND.get(reason, reason)


KINETICS_NOW = (
    "Force, drag and heat at each pressure come from the kinetic response of the gas to a vane of the rotor's shape in "
    "a closed room, with diffuse and specular reflection by the accommodation; what the tables may be off by is an "
    "unknown of the fit. The gas is monatomic there, and the heat of inner motion of other molecules is put in by a "
    "factor. Creep along the rim is an estimate to a factor of three, and convection is a bound."
)
"""Where the sizes of the mechanisms come from."""

CAUTIONS: tuple[str, ...] = cautions()
"""What to mind at the bench."""

LIMITS: tuple[str, ...] = (
    "The torque that the readings imply rests on the free-molecular drag of flat vanes that reflect diffusely in "
    f"an open room, with a standard uncertainty of {100 * FREE_MOLECULAR_DRAG_U:.2g} % for what that leaves out. It "
    f"is used only at Knudsen numbers of {LEAST_KNUDSEN:g} and more.",
    "Friction of the pivot is left out, so the true torque is at least the one stated.",
    "The mean free path is that of hard spheres with the viscosity of the real gas. Other definitions differ by "
    "some ten per cent; the Knudsen number moves with them.",
    "The vane is represented by its width alone; its shape, its edges and the room about it are not yet computed.",
    "The curve is a smooth interpolation of the readings and no law of physics. It says nothing beyond the "
    "pressures measured.",
    "The gas is taken as uniform, at the temperature and with the composition that the bench file states.",
)
"""Where the model of this version ends."""
