"""The take page: one HTML file with every line's candidates to see and to hear, and how to choose one.

Everything is inside the file and nothing is fetched (a strict content security policy sees to it), so it opens from
disk anywhere. Without its small script it works as well, but for the mark that runs along the waveform.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from html import escape
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.media.landing import write_whole
from assembler.media.recording import Recording
from assembler.media.small_sound import RATE, small_sound
from assembler.narration.choices import Chosen
from assembler.narration.take_choice import Candidate, clock_s
from assembler.narration.take_sheet import Sheet, SheetLine
from assembler.picture.graph_svg import FAMILY
from assembler.picture.look import GROUND, HAIRLINE, INK, MUTED, SUBJECT_COLOURS, Rgb
from assembler.timing.rates import SAMPLE_RATE

MOST_SHOWN = 8
"""Candidates of a line that are shown, the last ones."""
_LONGEST_S = 60.0
_AROUND_S = 0.35  # of the recording drawn before and after a take
_COLUMNS, _HEIGHT = 320, 56


def _css(colour: Rgb) -> str:
    return f"rgb({colour[0]} {colour[1]} {colour[2]})"


_STYLE = f"""
:root {{ color-scheme: dark }}
body {{ background: {_css(GROUND)}; color: {_css(INK)}; font: 17px/1.5 {FAMILY}; margin: 0 auto; max-width: 60rem;
  padding: 5vh 5vw }}
h1 {{ font-size: 30px; line-height: 1.2; margin: 0 0 .4em }}
h2 {{ font-size: 19px; margin: 0; display: flex; gap: 1em; align-items: baseline; flex-wrap: wrap }}
h2 span, .quiet, figcaption {{ color: {_css(MUTED)}; font-weight: normal }}
section {{ border-top: 1px solid {_css(HAIRLINE)}; margin-top: 1.2rem; padding: 1.2rem 0 0 }}
section > p {{ margin: .2rem 0 .8rem }}
.said {{ font-size: 22px }}
.flagged h2 b, .missing h2 b {{ border: 1px solid {_css(INK)}; padding: 0 .5em }}
figure {{ margin: 0 0 1rem; padding-left: 1rem; border-left: 4px double {_css(HAIRLINE)} }}
figure.picked {{ border-left: 4px solid {_css(SUBJECT_COLOURS[1])} }}
.row {{ display: flex; gap: 1rem; align-items: center; flex-wrap: wrap }}
.wave {{ position: relative; flex: 1 1 20rem }}
svg {{ display: block; width: 100%; height: {_HEIGHT}px }}
.wave i {{ position: absolute; top: 0; bottom: 0; width: 2px; left: 0; background: {_css(INK)}; visibility: hidden }}
audio {{ width: 17rem; max-width: 100% }}
code {{ font: 16px/1.5 ui-monospace, monospace; user-select: all; overflow-wrap: anywhere }}
table {{ border-collapse: collapse; font-variant-numeric: tabular-nums }}
td, th {{ text-align: left; padding: 0 1.5em 0 0; font-weight: normal }}
a {{ color: {_css(INK)} }}
:focus-visible {{ outline: 2px solid {_css(INK)}; outline-offset: 3px }}
@media print {{ audio {{ display: none }} }}
"""

_SCRIPT = """
const sounds = [...document.querySelectorAll('audio')];
for (const sound of sounds) {
  const mark = sound.closest('figure').querySelector('.wave i');
  const lead = Number(sound.dataset.lead), whole = Number(sound.dataset.whole), length = Number(sound.dataset.length);
  const move = () => {
    mark.style.left = 100 * (lead + Math.min(sound.currentTime, length)) / whole + '%';
    if (!sound.paused) requestAnimationFrame(move);
  };
  sound.addEventListener('play', () => {
    for (const other of sounds) if (other !== sound) other.pause();
    mark.style.visibility = 'visible';
    move();
  });
  sound.addEventListener('seeked', move);
}
"""


def write_page(
    sheet: Sheet,
    standing: Mapping[str, Chosen],
    folder: Path,
    title: str,
    path: Path,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> None:
    """Write the page of a sheet.

    standing: entries of the choices file by hand. folder: the project's, where the recordings lie. progress: called
    with lines done and in all. Raises MediaError when a recording cannot be read, and what writing a file raises.
    """
    with ExitStack() as opened:
        recordings = [opened.enter_context(Recording(folder / each.file)) for each in sheet.recordings]
        sections = []
        for n, line in enumerate(sheet.lines, start=1):
            sections.append(_section(sheet, line, standing.get(line.key), recordings))
            if progress is not None:
                progress(n, len(sheet.lines))
    write_whole(path, _page(sheet, standing, title, sections).encode())


def _page(sheet: Sheet, standing: Mapping[str, Chosen], title: str, sections: Sequence[str]) -> str:
    policy = (
        f"default-src 'none'; style-src '{_hash(_STYLE)}'; script-src '{_hash(_SCRIPT)}'; media-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    notes = "".join(
        f"<tr><td>{escape(each.file)}</td><td>{clock_s(each.seconds)}</td><td>{escape('; '.join(each.notes))}</td></tr>"
        for each in sheet.recordings
    )
    counts = ", ".join(f"{count} {name}" for name, count in sheet.counts(standing).items())
    open_ = [line for line in sheet.lines if line.result.verdict != "proposed" and line.key not in standing]
    jump = ", ".join(f'<a href="#{escape(line.key)}">{escape(line.key)}</a>' for line in open_)
    asks = f"<p>To decide: {jump}</p>" if open_ else "<p>Nothing is left to decide.</p>"
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Takes: {escape(title)}</title>
<style>{_STYLE}</style>
</head>
<body>
<header>
<h1>Takes: {escape(title)}</h1>
<p>{len(sheet.lines)} lines: {counts}. Proposed takes are used as they are; flagged ones only once you have chosen
one.</p>
{asks}
<table><tbody>{notes}</tbody></table>
</header>
<main>
{"".join(sections)}</main>
<script>{_SCRIPT}</script>
</body>
</html>
"""


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _section(sheet: Sheet, line: SheetLine, hand: Chosen | None, recordings: Sequence[Recording]) -> str:
    result = line.result
    verdict = "decided by hand" if hand else result.verdict
    why = (hand.where or "no take") if hand else result.why
    shown = list(enumerate(result.candidates))[-MOST_SHOWN:]
    figures = "".join(
        _figure(line.key, n, take, recordings[take.recording], sheet.recordings[take.recording].file,
                picked=n == result.picked and hand is None)
        for n, take in reversed(shown)
    )  # fmt: skip
    more = len(result.candidates) - len(shown)
    left = f'<p class="quiet">{more} earlier tries are not shown.</p>' if more else ""
    none = f'<p class="quiet">For no take: <code>assembler takes --choose {escape(line.key)}=none</code></p>'
    return f"""<section id="{escape(line.key)}" class="{escape(result.verdict if not hand else "hand")}">
<h2>{escape(line.key)} <b>{escape(verdict)}</b> <span>{escape(why)}</span></h2>
<p class="said" dir="auto">{escape(line.text)}</p>
{figures}{left}{none if result.verdict != "proposed" or hand else ""}
</section>
"""


def _figure(key: str, n: int, take: Candidate, recording: Recording, file: str, *, picked: bool) -> str:
    length = min(take.out_s - take.in_s, _LONGEST_S)
    first, past = round((take.in_s - _AROUND_S) * SAMPLE_RATE), round((take.in_s + length + _AROUND_S) * SAMPLE_RATE)
    drawn = recording.span(first, past)
    start, end = round(take.in_s * SAMPLE_RATE), round((take.in_s + length) * SAMPLE_RATE)
    kind, data = small_sound(recording.span_at(RATE, start, end))
    whole = length + 2 * _AROUND_S
    label = f"{key}, take {n + 1}"
    why = escape(take.why) or "nothing speaks against it"
    tell = take.why and take.heard and take.heard not in take.why
    heard = f'<br><span class="quiet">heard: {escape(take.heard)}</span>' if tell else ""
    source = f"data:{kind};base64,{base64.b64encode(data).decode()}"
    return f"""<figure{' class="picked"' if picked else ""}>
<div class="row"><div class="wave">{_wave(drawn, _AROUND_S / whole, label)}<i></i></div>
<audio controls preload="metadata" aria-label="{escape(label)}" data-lead="{_AROUND_S}" data-whole="{whole:.3f}"
 data-length="{length:.3f}" src="{source}"></audio></div>
<figcaption>Take {n + 1}, {escape(file)} {clock_s(take.in_s)} to {clock_s(take.out_s)}, sure {take.confidence:.2f};
{why}{heard}<br><code>assembler takes --choose {escape(key)}={n + 1}</code></figcaption>
</figure>
"""


def _wave(samples: npt.NDArray[np.float32], share: float, label: str) -> str:
    """A waveform with what lies outside the cuts dimmed. share: of its width that lies before the first cut."""
    columns = np.array_split(samples, _COLUMNS)
    high = np.array([float(part.max(initial=0.0)) for part in columns])
    low = np.array([float(part.min(initial=0.0)) for part in columns])
    top = max(1e-4, float(np.abs(high).max()), float(np.abs(low).max()))
    middle, half = _HEIGHT / 2, _HEIGHT / 2 - 2
    before, after = round(share * _COLUMNS), _COLUMNS - round(share * _COLUMNS)

    def area(first: int, last: int, colour: Rgb) -> str:
        up = [f"{x},{middle - half * high[x] / top - 0.5:.1f}" for x in range(first, last)]
        down = [f"{x},{middle - half * low[x] / top + 0.5:.1f}" for x in reversed(range(first, last))]
        return f'<polygon points="{" ".join(up + down)}" fill="{_css(colour)}"/>'

    cuts = "".join(f'<path d="M{x} 0V{_HEIGHT}" stroke="{_css(MUTED)}"/>' for x in (before, after))
    return (
        f'<svg viewBox="0 0 {_COLUMNS} {_HEIGHT}" preserveAspectRatio="none" role="img" '
        f'aria-label="Waveform of {escape(label)}">'
        f"{area(0, before + 1, HAIRLINE)}{area(before, after, INK)}{area(after - 1, _COLUMNS, HAIRLINE)}{cuts}</svg>"
    )
