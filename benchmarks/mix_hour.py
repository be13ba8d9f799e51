"""How long an hour of sound takes to mix and to code, and how much memory: to be flat in the programme's length.

    python benchmarks/mix_hour.py                  # 10 and 60 minutes, each in a process of its own
    python benchmarks/mix_hour.py --minutes 10 --master

The programme: a line of speech-like noise every 5 s, a capture's stereo sound under all of it in stretches of five
minutes (44.1 kHz FLAC), and looped music. It is listened to, then mixed, coded and heard again as a draft's sound is,
with --master as a master's, too; nothing is kept.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from assembler.media.info import CaptureInfo, Colour, SoundInfo
from assembler.media.probe import probe_sound
from assembler.narration.speech import Speech
from assembler.sound.delivery import deliver, draft_delivery, master_delivery
from assembler.sound.levels import measure
from assembler.sound.stems import Stems
from assembler.storyboard import read_storyboard
from assembler.storyboard.model import Capture, Line
from assembler.timeline.model import PlacedHear, PlacedLine, PlacedSegment, Timeline
from assembler.timeline.music import place_music
from assembler.timing.rates import SAMPLE_RATE
from assembler.timing.spans import Span

CAPTURE_MINUTES = 5
STORYBOARD = """\
storyboard: 1
title: Long
canvas: {rate: 60}
sound: {music: {file: tide.flac, loop: true}}
segments: [{id: all, lasts: SECONDS s, show: {card: x}}]
"""


def write_flac(path: Path, seconds: int, rate: int, level: float) -> None:
    """Noise that comes and goes, stereo."""
    random = np.random.default_rng(4)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("flac", rate=rate, layout="stereo")
        for second in range(seconds):
            swell = 0.5 + 0.5 * np.sin(2 * np.pi * 0.7 * (second + np.arange(rate) / rate))
            block = np.clip(level * random.standard_normal((2, rate)) * swell, -1, 1)
            packed = np.ascontiguousarray((block * 32767).astype(np.int16).T.reshape(1, -1))
            frame = av.AudioFrame.from_ndarray(packed, "s16", "stereo")
            frame.sample_rate, frame.pts = rate, second * rate
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def programme(folder: Path, minutes: int) -> Timeline:
    """The programme, whose files lie in `folder`."""
    seconds = minutes * 60
    storyboard = read_storyboard(STORYBOARD.replace("SECONDS", str(seconds)), "long")
    sound = SoundInfo(44_100, 2, Fraction(0), Fraction(CAPTURE_MINUTES * 60))
    info = CaptureInfo(
        path=folder / "game.flac", width=64, height=36, aspect=Fraction(1), rotation=0, codec="h264",
        pixel_format="yuv420p", bits=8, colour=Colour(1, 1, 1, False), pts=np.arange(2, dtype=np.int64),
        time_base=Fraction(1, 60), last_duration=1, frame_rate=Fraction(60), sound=sound, interlaced=False,
    )  # fmt: skip
    voice = folder / "voice.f32"
    speech = Speech("take", voice.stat().st_size // 4, (), voice, folder / "voice.wav")
    lines = [
        PlacedLine("all", number, Line(text="x"), speech, at * SAMPLE_RATE)
        for number, at in enumerate(range(1, seconds - 4, 5), 1)
    ]
    step = CAPTURE_MINUTES * 60 * SAMPLE_RATE
    game = Capture(id="game", file="game.flac")
    heard = [PlacedHear(game, at, at + step, Fraction(0), 0.0) for at in range(0, seconds * SAMPLE_RATE, step)]
    span = Span(0, seconds * 60)
    placed = PlacedSegment(storyboard.segments[0], span, (), tuple(lines), tuple(heard), 0)
    bare = Timeline(storyboard, folder, Fraction(60), seconds * 60, (placed,), {"game": info})
    music = folder / "tide.flac"
    files = {"tide.flac": (music, probe_sound(music))}
    return Timeline(storyboard, folder, Fraction(60), seconds * 60, (placed,), {"game": info},
                    music=place_music(bare, files))  # fmt: skip


def peak_mib() -> float:
    """The most this process has had in memory; what getrusage says may be its parent's."""
    status = Path("/proc/self/status").read_text("ascii")
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def run(folder: Path, minutes: int, *, master: bool) -> None:
    """Mix once and print what it took."""
    told: dict[str, object] = {"minutes": minutes, "rss_before_mib": round(peak_mib())}
    timeline = programme(folder, minutes)
    span = Span(0, timeline.frames)
    began, cpu = time.perf_counter(), time.process_time()
    levels = measure(timeline)
    told["listening_s"] = round(time.perf_counter() - began, 1)
    told["listening_cpu_s"] = round(time.process_time() - cpu, 1)
    told["listened_mib"] = round(peak_mib())
    ways = {"draft": draft_delivery()}
    if master:
        ways["master"] = master_delivery()
    for name, delivery in ways.items():
        began, cpu = time.perf_counter(), time.process_time()
        made = deliver(timeline, span, levels, Stems(None), delivery, folder / f"{name}.m4a")
        told |= {
            f"{name}_s": round(time.perf_counter() - began, 1),
            f"{name}_cpu_s": round(time.process_time() - cpu, 1),
            f"{name}_rounds": made.rounds,
            f"{name}_lufs": round(made.report.programme_lufs or 0, 2),
            f"{name}_dbtp": round(made.report.true_peak_dbtp or 0, 2),
        }
    print(json.dumps(told | {"peak_rss_mib": round(peak_mib())}), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=int, nargs="*", default=[10, 60])
    parser.add_argument("--master", action="store_true")
    parser.add_argument("--in", dest="folder", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.folder:
        run(options.folder, options.minutes[0], master=options.master)
        return
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        write_flac(folder / "game.flac", CAPTURE_MINUTES * 60, 44_100, 0.1)
        write_flac(folder / "tide.flac", 90, 48_000, 0.2)
        at = np.arange(7 * SAMPLE_RATE // 2) / SAMPLE_RATE
        noise = 0.1 * np.random.default_rng(5).standard_normal(at.size) * (0.5 + 0.5 * np.sin(2 * np.pi * 4 * at))
        (folder / "voice.f32").write_bytes(noise.astype("<f4").tobytes())
        for minutes in options.minutes:
            command = [sys.executable, __file__, "--in", str(folder), "--minutes", str(minutes)]
            subprocess.run([*command, *(["--master"] if options.master else [])], check=True)


if __name__ == "__main__":
    main()
