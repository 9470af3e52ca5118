"""The benchmark: composes recordings whose truth is known, runs the detector on them, scores what it tells."""
