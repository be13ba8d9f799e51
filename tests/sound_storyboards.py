"""Storyboards that are in order: a short one, one that uses every key, and each arrangement written both ways."""

from __future__ import annotations

SHORT = """\
storyboard: 1
title: One machine
segments:
  - {id: only, lasts: 2 s, show: {card: Hello}}
"""

LONG = """\
storyboard: 1
title: Harbour Lights on two machines
language: en-GB
canvas: {size: 1280x720, rate: 59.94}
subjects:
  ash: {name: Ash, note: desktop}
  birch: Birch
captures:
  ash-quay: {file: footage/ash_quay.mp4, subject: ash}
  birch-quay:
    file: footage/birch_quay.mp4
    subject: birch
    line-up: {with: ash-quay, offset: -21 f}
narration: {takes: voice, voice: none, pace: 150, lead: 0.2 s, pause: 300 ms, tail: 1 s}
captions: {burn: false, limits: slow}
fonts: [fonts/Hand.ttf, fonts/Other.ttf]
segments:
  - id: opening
    chapter: The quay
    at: 00:00:00:00
    lasts: fit
    say:
      - Two machines, one harbour
        at dusk.
      - {text: "Ash holds 60 frames a second.", pause: 0.4 s, take: voice/second.wav}
    show:
      side-by-side:
        - {capture: ash-quay, from: 2 s}
        - birch-quay
    hear: [ash-quay, {capture: birch-quay, from: 1 s, gain: -6 dB}]
    enter: {fade: 0.5 s}
  - id: closer
    chapter: false
    until: 00:00:20:00
    say: Look closer.
    show:
      - lasts: 2 s
        labels: false
        full: {capture: birch-quay, speed: 0.25, crop: {x: 640, y: 360, w: 640, h: 360}, scaling: nearest, fit: fill,
               label: Night}
      - {lasts: 30 f, stacked: [ash-quay, {capture: birch-quay, freeze: true, label: false}]}
      - {lasts: 1 s, grid: [ash-quay, birch-quay, {capture: ash-quay, freeze: {at: 1 s, lasts: 500 ms}}]}
      - {lasts: 1 s, split: [ash-quay, birch-quay]}
      - {lasts: 1 s, split: {panes: [ash-quay, birch-quay], line: {from: 0.2, to: 0.8}, direction: down}}
      - {lasts: 1 s, inset: [ash-quay, birch-quay]}
      - {lasts: 1 s, inset: {panes: [ash-quay, birch-quay], corner: bottom-left, size: 0.25}}
      - {lasts: 1 s, difference: [ash-quay, birch-quay]}
      - {lasts: 1 s, difference: {panes: [ash-quay, birch-quay], gain: 8}}
      - {lasts: 1 s, card: Verdict}
      - {full: {capture: ash-quay, freeze: [{at: 1 s, lasts: 1 s}, {at: 4 s}]}}
    hear: ash-quay
    enter: {dissolve: 0.5 s}
  - id: figures
    show:
      - {lasts: 1.5 s, card: {title: Figures, note: "Over one\\nminute", picture: stills/quay.png, motion: still}}
      - {lasts: 30 f, card: {table: {columns: ["", Ash, Birch], rows: [[Frames a second, 60, 48.20]]}}}
      - {lasts: 2 s, made: {file: code/chart.py, function: chart, options: {steps: 3, scale: 1.0, name: x, dark: true}}}
    hear: {capture: ash-quay, gain: 3}
    leave: {fade: 1 s}
sound:
  loudness: broadcast-r128
  peak: -2 dBTP
  duck: -18 dB
  music:
    - {file: music/tide.flac, gain: -3 dB, from: 2 s, loop: true, fade-in: 0 s, fade-out: 3 s, segments: [opening]}
    - {file: music/end.ogg}
"""

FRAMES_ONLY = """\
storyboard: 1
title: Counted in frames
captures: {quay: {file: a.mp4}}
segments:
  - {id: one, show: [{lasts: 30 f, full: quay}, {lasts: 12 f, made: {file: chart.py}}], hear: {capture: quay}}
"""

SOUND = {"short": SHORT, "long": LONG, "frames only": FRAMES_ONLY}
