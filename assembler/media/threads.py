"""How many threads a decoder of this process may use, where several processes share the processors."""

from __future__ import annotations

_most = 0


def limit_decoding(threads: int) -> None:
    """From now on each decoder that is opened in this process uses so many threads; 0 lets the codec choose."""
    global _most
    _most = max(0, threads)


def decoding_threads() -> int:
    """What was last asked for. The pictures are the same whatever it is."""
    return _most
