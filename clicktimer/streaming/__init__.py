"""The chain, live: blocks as they come -> what was heard, at once and provisionally; the whole at the end."""
