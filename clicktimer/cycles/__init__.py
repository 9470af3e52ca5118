"""Clicks to cycles, a person's corrections, and the run time with no water running."""
