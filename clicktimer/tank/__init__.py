"""The pressure tank: drawdown by Boyle's law, run time, size, and what a measured run says of the tank there."""
