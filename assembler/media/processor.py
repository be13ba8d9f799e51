"""What the processor can do, where a codec has to be told about it."""

from __future__ import annotations

import functools
import importlib


@functools.cache
def has_avx512() -> bool:
    """Whether this is an x86 processor with AVX-512, as far as numpy knows."""
    for name in ("numpy._core._multiarray_umath", "numpy.core._multiarray_umath"):
        try:
            features = importlib.import_module(name).__cpu_features__
        except (ImportError, AttributeError):
            continue
        return bool(features.get("AVX512F"))
    return False
