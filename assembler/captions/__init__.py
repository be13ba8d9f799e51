"""Cues from word times, reading limits and caption files."""
