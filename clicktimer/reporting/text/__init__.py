"""Stage 7: the records in, text, JSON and CSV out. Everything here is a function of the records alone.

No clock, no host name and no path goes into a result: the same recording gives the same bytes.
"""
