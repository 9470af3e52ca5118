"""The listening folder: what is heard live, safe on disk while it is heard, and read again by every later program."""
