"""Written WebVTT in a browser's own parser: Chromium's text tracks hold the same cues, times and styles."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import threading
import urllib.parse
from collections.abc import Iterator
from fractions import Fraction
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from broken_captions import BASE, corpus
from test_captions_parsers import HOSTILE, cue

from assembler.captions.files import frame_at, millisecond, write_vtt
from assembler.captions.reading import read_captions
from assembler.timing.rates import CANVAS_RATES

SIXTY = Fraction(60)
BROWSER = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
# What a browser would fetch of itself is turned off, and it can reach nothing but this machine.
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--disable-extensions", "--disable-default-apps", "--no-first-run", "--no-default-browser-check",
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1", "--virtual-time-budget=20000",
)  # fmt: skip
PAGE = """<!doctype html><meta charset="utf-8"><title>tracks</title><video id="v"></video><pre id="out"></pre><script>
const names = %s, found = {}, video = document.getElementById("v");
for (const name of names) {
  const track = document.createElement("track");
  track.kind = "captions"; track.srclang = "en"; track.src = name;
  const done = fine => () => {
    const cues = [...(track.track.cues || [])].map(cue => {
      const box = document.createElement("div"); box.append(cue.getCueAsHTML());
      return [cue.startTime, cue.endTime, cue.id, box.textContent, box.innerHTML, String(cue.line)];
    });
    found[name] = {fine, cues};
    if (Object.keys(found).length == names.length)
      document.getElementById("out").textContent = encodeURIComponent(JSON.stringify(found));
  };
  track.onload = done(true); track.onerror = done(false);
  video.append(track); track.track.mode = "hidden";
}
</script>"""


class Quiet(SimpleHTTPRequestHandler):
    extensions_map = {".vtt": "text/vtt; charset=utf-8", ".html": "text/html; charset=utf-8"}  # noqa: RUF012

    def log_message(self, *_: object) -> None:
        pass


def in_browser(folder: Path, names: list[str]) -> dict[str, list[list[object]]]:
    """What the browser's tracks hold of each file: start, end, id, text, marked-up text, line."""
    assert BROWSER is not None
    (folder / "page.html").write_text(PAGE % json.dumps(names), encoding="utf-8")
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(folder)))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        address = f"http://127.0.0.1:{server.server_address[1]}/page.html"
        profile = f"--user-data-dir={folder / 'profile'}"
        command = [BROWSER, *FLAGS, profile, "--dump-dom", address]
        done = subprocess.run(command, capture_output=True, timeout=90, check=True)
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
    out = re.search(r'<pre id="out">([^<]+)</pre>', done.stdout.decode())
    assert out, done.stdout.decode()[-2000:]
    found = json.loads(urllib.parse.unquote(out[1]))
    assert all(each["fine"] for each in found.values())
    return {name: each["cues"] for name, each in found.items()}


def frames_cues(rate: Fraction) -> list[int]:
    return [*range(0, 120, 2), 10_001, 5_184_000]


REPAIRED = [case for case in corpus() if case.name.endswith(".vtt") and case.cues]


@pytest.fixture(scope="module")
def tracks(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, list[list[object]]]]:
    if BROWSER is None:
        pytest.skip("NO CHROMIUM on this machine: written WebVTT was shown to no browser")
    folder = tmp_path_factory.mktemp("tracks")
    hostile = [cue(60 * n, 60 * n + 50, text, "second line") for n, text in enumerate(HOSTILE)]
    write_vtt(hostile, SIXTY, folder / "hostile.vtt", "en")
    styled = ("It <i>is <b>both</b>", "now</i> <u>too</u>")
    marked = [cue(0, 60, "x", marked=styled), cue(60, 90, "x", marked=("{\\an8}up",))]
    write_vtt(marked, SIXTY, folder / "marked.vtt", "en")
    for number, rate in enumerate(CANVAS_RATES):
        write_vtt([cue(f, f + 1, "x") for f in frames_cues(rate)], rate, folder / f"rate{number}.vtt", "en")
    write_vtt([], SIXTY, folder / "none.vtt", "en")
    for number, case in enumerate(REPAIRED):
        (folder / f"broken{number}.vtt").write_bytes(case.data)
    whole = ("hostile", "marked", "none", *(f"rate{n}" for n in range(len(CANVAS_RATES))))
    broken = [f"broken{n}" for n, case in enumerate(REPAIRED) if case.data.startswith(b"WEBVTT\n")]
    yield in_browser(folder, [f"{name}.vtt" for name in (*whole, *broken)])


def ms(seconds: object) -> int:
    assert isinstance(seconds, (int, float))
    assert abs(seconds * 1000 - round(seconds * 1000)) < 1e-3
    return round(seconds * 1000)


def test_hostile_text_is_text_to_the_browser(tracks: dict[str, list[list[object]]]) -> None:
    found = [(ms(start), ms(end), text) for start, end, _, text, _, _ in tracks["hostile.vtt"]]
    assert found == [
        (millisecond(60 * n, SIXTY), millisecond(60 * n + 50, SIXTY), f"{text}\nsecond line")
        for n, text in enumerate(HOSTILE)
    ]
    assert not any("<" in str(markup).replace("&lt;", "") for *_, markup, _ in tracks["hostile.vtt"])


def test_styles_and_places_reach_the_browser(tracks: dict[str, list[list[object]]]) -> None:
    first, second = tracks["marked.vtt"]
    assert first[4] == "It <i>is <b>both</b></i>\n<i>now</i> <u>too</u>"
    assert (second[3], second[5], first[5]) == ("up", "5", "auto")


@pytest.mark.parametrize("number", range(len(CANVAS_RATES)), ids=[str(rate) for rate in CANVAS_RATES])
def test_the_browser_shows_captions_on_their_frames(tracks: dict[str, list[list[object]]], number: int) -> None:
    # Source: HTML, 'current cues': start <= current time < end. A picture's time is its number through the rate.
    rate = CANVAS_RATES[number]
    cues = tracks[f"rate{number}.vtt"]
    assert len(cues) == len(frames_cues(rate))
    for frame, (start, end, *_) in zip(frames_cues(rate), cues, strict=True):
        assert (frame_at(ms(start), rate), frame_at(ms(end), rate)) == (frame, frame + 1)
        assert float(str(start)) <= float(frame / rate) + 1e-9 < float(str(end)) <= float((frame + 1) / rate) + 1e-9


def test_a_file_without_captions_is_a_track_without_cues(tracks: dict[str, list[list[object]]]) -> None:
    assert tracks["none.vtt"] == []


def test_our_reader_keeps_every_caption_that_the_browser_keeps(tracks: dict[str, list[list[object]]]) -> None:
    # The browser drops what is broken; what it does show, ours must have, at the same times.
    compared = 0
    for number, case in enumerate(REPAIRED):
        for start, end, _, text, *_ in tracks.get(f"broken{number}.vtt", []):
            if ms(start) >= ms(end) or not text:
                continue  # held in the track, but nothing is ever seen of it
            ours = {(each.start_ms, each.end_ms) for each in read_captions(case.data, case.name).cues}
            assert (ms(start), ms(end)) in ours, case.name
            compared += 1
    assert compared > 10 * len(BASE)
