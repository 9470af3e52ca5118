"""Proof on the spot: how many clicks like those that were told does the detector catch in this very recording?

Copies of its own clicks, varied a little, are laid into its own background at random places, and the whole detector
hears it anew. What is counted, and what that does not tell, is written in docs/proof.md. The dice are seeded by the
recording, so that the same recording gives the same answer.
"""

from clicktimer.assessment.proof_result import Count
from clicktimer.quality.proof.counting import (
    count_of,
    wilson,
)
from clicktimer.quality.proof.proof import Proof, prove_recording, recording_again
from clicktimer.quality.proof.runs import prove_clicks
from clicktimer.quality.proof.snaps import prove_snaps

__all__ = ["Count", "Proof", "count_of", "prove_clicks", "prove_recording", "prove_snaps", "recording_again", "wilson"]
