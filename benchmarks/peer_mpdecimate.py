"""What FFmpeg's mpdecimate filter, at its defaults, says of a clip: which pictures it keeps.

The program is the one that comes with imageio-ffmpeg.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np


def kept(path: Path, pictures: int) -> np.ndarray:
    """(pictures,) True where the filter keeps a picture. The answer is kept beside the clip."""
    stored = path.with_suffix(".mpdecimate.npy")
    if not stored.exists():
        import imageio_ffmpeg

        command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "debug", "-i", str(path), "-vf", "mpdecimate", "-an"]
        done = subprocess.run([*command, "-f", "null", "-"], capture_output=True, check=True)
        words = re.findall(r"mpdecimate[^\n]*?\b(keep|drop) pts:", done.stderr.decode("utf-8", "replace"))
        assert len(words) == pictures, f"{path.name}: {len(words)} verdicts for {pictures} pictures"
        np.save(stored, np.array([word == "keep" for word in words]))
    return np.load(stored)
