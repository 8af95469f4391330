"""What a mechanism's file needs: the claim it makes, and the words for it."""

from collections.abc import Callable

from edgewind.evidence.claims import Claim, Verdict, sentence, sign_agrees
from edgewind.evidence.verdicts import Case

__all__ = ["Claim", "Mechanism", "Verdict", "sentence", "sign_agrees"]

Mechanism = Callable[[Case], Claim]
