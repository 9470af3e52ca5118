"""Quantities as people write them: what each dimension allows, text to SI numbers, and SI numbers back to text."""
