"""The well: what it yields, what stands in its bore, what both give over a time, and whether that is enough."""
