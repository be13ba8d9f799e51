"""Which encoders this machine's media library carries."""

from __future__ import annotations

from collections.abc import Sequence

import av
from av.error import FFmpegError


def encoders_at_hand(names: Sequence[str]) -> dict[str, bool]:
    """For each encoder's name, whether it can be opened here."""
    found = {}
    for name in names:
        try:
            av.Codec(name, "w")
            found[name] = True
        except (FFmpegError, ValueError):
            found[name] = False
    return found
