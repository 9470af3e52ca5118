"""The run time judged: its band, the verdict, and the likely causes."""
