"""Findings about a resolved timeline, one concern a file."""
