"""The environment that benchmarks start programs in: a user's, whose Python keeps compiled modules.

Without them every start compiles the whole package anew, a quarter of a second that users do not wait for.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def environment() -> dict[str, str]:
    """This process's environment, with compiled modules kept beside no source."""
    kept = str(Path(tempfile.gettempdir()) / "assembler-benchmarks-compiled")
    told = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {"PYTHONPYCACHEPREFIX": kept, **told}
