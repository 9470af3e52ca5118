"""Why a run is short, or never ends: causes ranked by evidence, from a table that one can read and extend."""
