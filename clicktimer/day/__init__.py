"""A day of cycles in, what it tells out: the run with no water, seeping, starts, water, change, another tank."""
