"""The benchmark's cut with moviepy alone: two captures side by side, labels, captions, a graph, sound."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
from moviepy import ColorClip, CompositeVideoClip, TextClip, VideoClip, VideoFileClip
from PIL import Image, ImageDraw

FONT = Path(__file__).resolve().parent.parent / "fonts" / "B612-Regular.otf"


def graph(seconds: int) -> VideoClip:
    """A line that runs past a playhead: drawn once, then sliced, which is the fastest way moviepy has."""
    strip = Image.new("RGB", (1152 + 120 * seconds, 130), (16, 19, 22))
    line = [(4 * k, 65 + 37 * k % 53) for k in range(strip.width // 4)]
    ImageDraw.Draw(strip).line(line, fill=(232, 234, 230), width=2)
    drawn = np.asarray(strip)

    def at(time: float) -> np.ndarray:
        start = round(120 * time)
        picture = drawn[:, start : start + 1152].copy()
        picture[:, 575:577] = 232
        return picture

    return VideoClip(at, duration=seconds)


def main() -> None:
    """Arguments: work folder, seconds, captions, crop and coding as JSON."""
    work, seconds, captions, crop, coding = Path(sys.argv[1]), int(sys.argv[2]), *map(json.loads, sys.argv[3:6])
    footage = work / "project" / "footage"
    # target_resolution lets the reader's own process scale, which is the fastest way moviepy has; it crops afterwards,
    # which costs next to nothing.
    x, y, width, height = crop
    scaled = {"target_resolution": (1920 * 640 // width, 1080 * 360 // height), "resize_algorithm": "area"}
    part = {"x1": x * 640 // width, "y1": y * 360 // height, "width": 640, "height": 360}
    left = VideoFileClip(str(footage / "a.mp4"), **scaled).subclipped(0, seconds).cropped(**part)
    right = VideoFileClip(str(footage / "b.mp4"), audio=False, **scaled).subclipped(0, seconds).cropped(**part)
    layers = [
        ColorClip((1280, 720), color=(16, 19, 22), duration=seconds),
        left.with_position((0, 180)),
        right.with_position((640, 180)),
        graph(seconds).with_position((64, 440)),
    ]
    for text, x in (("Ash  desktop", 64), ("Birch  handheld", 704)):
        label = TextClip(text=text, font=str(FONT), font_size=22, color="#e8eae6", duration=seconds)
        layers.append(label.with_position((x, 130)))
    for text, start, end in captions:
        size = {"font": str(FONT), "font_size": 26, "color": "#e8eae6", "text_align": "center"}
        caption = TextClip(text=text, size=(900, 90), method="caption", duration=end - start, **size)
        layers.append(caption.with_start(start).with_position(("center", 580)))
    programme = CompositeVideoClip(layers, size=(1280, 720)).with_duration(seconds).with_audio(left.audio)
    options = {"codec": "libx264", "audio_codec": "aac", "preset": coding[1], "ffmpeg_params": coding[2:]}
    sound = {"temp_audiofile_path": str(work)}
    programme.write_videofile(str(work / "moviepy.mp4"), fps=60, logger=None, **options, **sound)


if __name__ == "__main__":
    main()
