"""Blocks of sound to the clicks of the pressure switch, and what else the sound says of the pump."""
