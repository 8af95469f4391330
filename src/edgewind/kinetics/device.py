"""What sweeps: the processors, or a GPU."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from edgewind.errors import InputError


def _stays(operator: Any) -> Any:
    return operator


def choose_device(device: str) -> tuple[str, Callable[[Any], Any]]:
    """Return the device that a name stands for, and what takes an operator of a rotor or of a lone vane there.

    Parameters
    ----------
    device : str
        ``cpu``, ``gpu``, or ``auto``: a GPU where there is one.

    Raises
    ------
    InputError
        Another name, or ``gpu`` where none computes.
    """
    if device not in ("auto", "cpu", "gpu"):
        raise InputError(f"the device must be auto, cpu or gpu, not '{device}'", key="device", fix="choose one of them")
    if device != "cpu":
        from edgewind.kinetics.gpu import operator_for, why_no_gpu

        why = why_no_gpu()
        if why is None:
            return "gpu", operator_for
        if device == "gpu":
            raise InputError(f"no GPU is available: {why}", key="device",
                             fix="install edgewind[gpu] beside an NVIDIA driver, or choose cpu")  # fmt: skip
    return "cpu", _stays
