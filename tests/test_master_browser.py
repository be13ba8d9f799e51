"""A master plays with sound in a real browser."""

from __future__ import annotations

import contextlib
import http.server
import json
import shutil
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from render_maker import NumberTools, Scene, cue, programme, with_tools
from test_master import Hum

from assembler.render.master import MasterOptions, render_master

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--autoplay-policy=no-user-gesture-required",
)  # fmt: skip
FRAMES, RATE = 120, 30

# Plays to the end, listens to what comes out, and tells what happened.
PAGE = """<!doctype html><video id="v" src="master.mp4" crossorigin="anonymous"></video><script>
const v = document.getElementById("v"), seen = {codec: v.canPlayType('video/mp4; codecs="avc1.64001e, mp4a.40.2"')};
const tell = () => fetch("told", {method: "POST", body: JSON.stringify(seen)});
v.onerror = () => { seen.error = v.error.message || String(v.error.code); tell(); };
v.onloadedmetadata = () => { seen.duration = v.duration; seen.size = [v.videoWidth, v.videoHeight]; };
const context = new AudioContext(), meter = context.createAnalyser(), samples = new Float32Array(2048);
context.createMediaElementSource(v).connect(meter); meter.connect(context.destination);
seen.peak = 0; seen.times = [];
setInterval(() => {
  meter.getFloatTimeDomainData(samples);
  for (const s of samples) seen.peak = Math.max(seen.peak, Math.abs(s));
  seen.times.push(v.currentTime);
}, 100);
v.onended = () => {
  seen.sound_bytes = v.webkitAudioDecodedByteCount; seen.picture_bytes = v.webkitVideoDecodedByteCount;
  const quality = v.getVideoPlaybackQuality();
  seen.frames = quality.totalVideoFrames; seen.corrupted = quality.corruptedVideoFrames; tell();
};
context.resume().then(() => v.play()).catch(error => { seen.error = String(error); tell(); });
</script>"""


@contextlib.contextmanager
def served(folder: Path, told: list[dict[str, object]], heard: threading.Event) -> Iterator[int]:
    """The folder's files on this machine alone; what a page posts is put into `told`."""

    class Handler(http.server.SimpleHTTPRequestHandler):
        def __init__(self, *given: object) -> None:
            super().__init__(*given, directory=str(folder))  # type: ignore[arg-type]

        def do_POST(self) -> None:
            told.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(204)
            self.end_headers()
            heard.set()

        def log_message(self, *_: object) -> None:
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield server.server_address[1]
        server.shutdown()
        thread.join()


def played(folder: Path) -> dict[str, object]:
    """What the page saw."""
    told: list[dict[str, object]] = []
    heard = threading.Event()
    assert CHROMIUM is not None
    with served(folder, told, heard) as port, tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        address = f"http://127.0.0.1:{port}/page.html"
        browser = subprocess.Popen(
            [CHROMIUM, *FLAGS, f"--user-data-dir={profile}", "--remote-debugging-port=0", address],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            heard.wait(50)
        finally:
            browser.kill()
            browser.wait()
    return told[0] if told else {"error": "the page told nothing within 50 s"}


@pytest.mark.skipif(CHROMIUM is None, reason="NOT RUN: no Chromium here to play a master in (apt-get install chromium)")
def test_a_master_plays_with_sound_in_chromium(tmp_path: Path) -> None:
    timeline = programme(tmp_path, [Scene("a", [FRAMES // 2]), Scene("b", [FRAMES // 2])])
    result = render_master(
        timeline, (cue(5, 60, "One."),), MasterOptions(preset="superfast"),
        open_tools=with_tools(NumberTools()), mix_sound=Hum, cancelled=lambda: False,
    )  # fmt: skip
    folder = result.path.parent
    (folder / "page.html").write_text(PAGE, encoding="utf-8")
    seen = played(folder)
    if not seen.get("codec") and "error" in seen:
        pytest.skip(f"NOT RUN: this Chromium has no H.264 and AAC: {seen['error']}")
    assert "error" not in seen, seen
    assert seen["size"] == [160, 90]
    # Source: arithmetic: 120 pictures at 30 a second.
    assert seen["duration"] == pytest.approx(FRAMES / RATE, abs=0.001)
    times = seen["times"]
    assert isinstance(times, list) and times[-1] > 3 and all(np.diff(times) >= 0)
    assert seen["sound_bytes"] > 10_000 and seen["picture_bytes"] > 1_000  # type: ignore[operator]
    assert seen["corrupted"] == 0 and seen["frames"] > FRAMES // 2  # type: ignore[operator]
    # Source: the hum's own peak, -14 dBFS.
    assert seen["peak"] == pytest.approx(10 ** (-14 / 20), abs=0.03)
