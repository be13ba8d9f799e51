"""The kinds of capture that reading must be exact for, as arguments of `write_clip`."""

from __future__ import annotations

import random
from fractions import Fraction
from typing import Any

from media_maker import BT709

PICTURES = 40
_B = {"preset": "veryfast", "g": "12", "bf": "3"}
_OPEN = {**_B, "x264-params": "open-gop=1:b-pyramid=normal:scenecut=0"}
_HEVC = "keyint=12:min-keyint=12:bframes=3:open-gop="
VFR_MS = sorted(random.Random(2).sample(range(1500), PICTURES))

VARIANTS: dict[str, tuple[str, dict[str, Any]]] = {
    "h264 mp4": ("a.mp4", {}),
    "h264 mkv": ("a.mkv", {}),
    "h264 mp4 B pictures": ("a.mp4", {"options": _B}),
    "h264 mp4 one long group": ("a.mp4", {"options": {**_B, "g": "250"}}),
    "h264 mp4 open groups": ("a.mp4", {"options": _OPEN}),
    "h264 mkv open groups": ("a.mkv", {"options": _OPEN}),
    "h264 mp4 refreshed without keyframes": (
        "a.mp4",
        {"options": {"preset": "veryfast", "g": "12", "x264-params": "intra-refresh=1"}},
    ),
    "h264 mp4 23.976": ("a.mp4", {"options": _B, "rate": Fraction(24_000, 1_001)}),
    "h264 mkv 59.94": ("a.mkv", {"options": _B, "rate": Fraction(60_000, 1_001)}),
    "h264 mkv 120": ("a.mkv", {"options": _B, "rate": 120}),
    "h264 mp4 uneven": ("a.mp4", {"options": _B, "pts": VFR_MS, "time_base": Fraction(1, 1000)}),
    "h264 mkv uneven": ("a.mkv", {"options": _B, "pts": VFR_MS, "time_base": Fraction(1, 1000)}),
    "h264 mp4 starts at 5 s": ("a.mp4", {"options": _B, "start_s": 5}),
    "h264 mkv starts at 5 s": ("a.mkv", {"options": _B, "start_s": 5}),
    "h264 mp4 edit list": ("a.mp4", {"options": _B, "start_s": Fraction(-17, 30)}),
    "h264 mov edit list on a keyframe": ("a.mov", {"options": _B, "start_s": Fraction(-12, 30)}),
    "h264 mp4 fragments": ("a.mp4", {"options": _B, "container_options": {"movflags": "+frag_keyframe+empty_moov"}}),
    "h264 live mkv": ("a.mkv", {"options": _B, "container_options": {"live": "1"}}),
    "h264 4:4:4 odd size": ("a.mp4", {"size": (161, 91), "pixel_format": "yuv444p"}),
    "h264 10 bits": ("a.mp4", {"options": _B, "pixel_format": "yuv420p10le", "colour": BT709}),
    "hevc mp4 open groups": ("a.mp4", {"codec": "libx265", "options": {"x265-params": _HEVC + "1"}}),
    "hevc mkv closed groups": ("a.mkv", {"codec": "libx265", "options": {"x265-params": _HEVC + "0"}}),
    "hevc mp4 10 bits": (
        "a.mp4",
        {"codec": "libx265", "pixel_format": "yuv420p10le", "options": {"x265-params": _HEVC + "0"}},
    ),
    "av1 mp4": ("a.mp4", {"codec": "libsvtav1", "options": {"g": "12"}}),
    "av1 mkv": ("a.mkv", {"codec": "libsvtav1", "options": {"g": "12"}}),
    "vp9 webm": ("a.webm", {"codec": "libvpx-vp9", "options": {"g": "12"}}),
    "vp9 mkv hidden pictures": (
        "a.mkv",
        {"codec": "libvpx-vp9", "options": {"g": "12", "auto-alt-ref": "1", "lag-in-frames": "10", "deadline": "good"}},
    ),
    "prores mov": ("a.mov", {"codec": "prores_ks", "pixel_format": "yuv422p10le"}),
    "ffv1 mkv odd size": ("a.mkv", {"codec": "ffv1", "size": (161, 91)}),
    "mjpeg avi": ("a.avi", {"codec": "mjpeg", "pixel_format": "yuvj420p", "options": {"qmin": "2", "qmax": "3"}}),
}

HIDDEN = {"h264 mp4 edit list": 17, "h264 mov edit list on a keyframe": 12}
"""How many pictures at the start an edit list hides."""

UNEVEN = {"h264 mp4 uneven", "h264 mkv uneven"}
