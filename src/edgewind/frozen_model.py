"""Base of values whose fields are declared once, each with a description."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class FrozenModel(BaseModel):
    """An immutable value; JSON and manual read its fields and their descriptions."""

    model_config = ConfigDict(frozen=True)
