"""Narration and capture sound mixed to the programme's."""
