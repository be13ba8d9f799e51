"""Exact rates, the time grammar, timecode and frame spans. Imports nothing of ours."""
