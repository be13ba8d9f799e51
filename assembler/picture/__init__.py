"""Arrangements, labels, captions and cards: drawn once, blended on planes."""
