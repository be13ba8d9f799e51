"""The benchmark's cut with moviepy alone: two captures side by side, labels, captions, sound."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from moviepy import ColorClip, CompositeVideoClip, TextClip, VideoFileClip

FONT = Path(__file__).resolve().parent.parent / "fonts" / "B612-Regular.otf"


def main() -> None:
    """Arguments: work folder, seconds, captions as JSON."""
    work, seconds, captions = Path(sys.argv[1]), int(sys.argv[2]), json.loads(sys.argv[3])
    footage = work / "project" / "footage"
    # target_resolution lets the reader's own process scale, which is the fastest way moviepy has.
    left = VideoFileClip(str(footage / "a.mp4"), target_resolution=(640, 360)).subclipped(0, seconds)
    right = VideoFileClip(str(footage / "b.mp4"), target_resolution=(640, 360), audio=False).subclipped(0, seconds)
    layers = [
        ColorClip((1280, 720), color=(16, 19, 22), duration=seconds),
        left.with_position((0, 180)),
        right.with_position((640, 180)),
    ]
    for text, x in (("Ash  desktop", 64), ("Birch  handheld", 704)):
        label = TextClip(text=text, font=str(FONT), font_size=22, color="#e8eae6", duration=seconds)
        layers.append(label.with_position((x, 130)))
    for text, start, end in captions:
        size = {"font": str(FONT), "font_size": 26, "color": "#e8eae6", "text_align": "center"}
        caption = TextClip(text=text, size=(900, 90), method="caption", duration=end - start, **size)
        layers.append(caption.with_start(start).with_position(("center", 580)))
    programme = CompositeVideoClip(layers, size=(1280, 720)).with_duration(seconds).with_audio(left.audio)
    options = {"codec": "libx264", "audio_codec": "aac", "preset": "veryfast", "ffmpeg_params": ["-crf", "23"]}
    sound = {"temp_audiofile_path": str(work)}
    programme.write_videofile(str(work / "moviepy.mp4"), fps=60, logger=None, **options, **sound)


if __name__ == "__main__":
    main()
