"""Half-open spans of whole frames."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """Frames from `start_frame` up to, but not including, `end_frame`."""

    start_frame: int
    end_frame: int

    def __post_init__(self) -> None:
        if self.end_frame < self.start_frame:
            raise ValueError(f"a span cannot end ({self.end_frame}) before it starts ({self.start_frame})")

    @property
    def frames(self) -> int:
        """How many frames it holds."""
        return self.end_frame - self.start_frame

    def meets(self, other: Span) -> bool:
        """Whether the two share a frame."""
        return max(self.start_frame, other.start_frame) < min(self.end_frame, other.end_frame)

    def __contains__(self, frame: int) -> bool:
        return self.start_frame <= frame < self.end_frame
