"""Narration, captures and music mixed to the programme's sound."""
