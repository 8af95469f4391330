"""What a mechanism's file needs: the claim it makes, and the words for it."""

from edgewind.evidence.claims import Claim, Mechanism, Verdict, sentence, sign_agrees

__all__ = ["Claim", "Mechanism", "Verdict", "sentence", "sign_agrees"]
