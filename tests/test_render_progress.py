"""Progress: one stream of events, shown as a bar on a terminal and as plain lines elsewhere."""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys

import pytest

from assembler.render.progress import Bar, Event, Lines, Meter, line_of, shower


class Clock:
    """A clock that moves when told to."""

    def __init__(self) -> None:
        self.time = 100.0

    def __call__(self) -> float:
        return self.time


def test_speed_and_time_left_come_from_what_was_made_not_from_what_was_kept() -> None:
    events: list[Event] = []
    clock = Clock()
    meter = Meter(events.append, "pictures", 1000, now=clock)
    meter.skip(600)
    for _ in range(100):
        clock.time += 0.1
        meter.add()
    # Source: arithmetic: 100 frames in 10 s, 300 left.
    last = events[-1]
    assert last.done in (699, 700)
    assert last.per_s == pytest.approx(10.0)
    assert last.eta_s == pytest.approx((1000 - last.done) / 10)
    assert (events[0].done, events[0].per_s, events[0].eta_s) == (0, 0.0, None)


def test_events_are_few_rise_and_end_at_the_whole() -> None:
    events: list[Event] = []
    clock = Clock()
    meter = Meter(events.append, "pictures", 5000, now=clock)
    for _ in range(5000):
        clock.time += 0.001
        meter.add()
    assert 20 <= len(events) <= 30  # 5 s at one in 0.2 s
    done = [event.done for event in events]
    assert done == sorted(done)
    assert (done[-1], events[-1].eta_s) == (5000, 0.0)


def test_lines_come_at_the_ends_of_a_stage_and_every_ten_seconds() -> None:
    stream, clock = io.StringIO(), Clock()
    with Lines(stream, now=clock) as show:
        for second in range(31):
            show(Event("pictures", second * 10, 300, per_s=10.0, eta_s=30.0 - second))
            clock.time += 1
        show(Event("joining", 0, 300))
    lines = stream.getvalue().splitlines()
    assert [line.split(",")[0] for line in lines] == [
        "pictures: 0 of 300 frames (0 %)",
        "pictures: 100 of 300 frames (33 %)",
        "pictures: 200 of 300 frames (66 %)",
        "pictures: 300 of 300 frames (100 %)",
        "joining: 0 of 300 frames (0 %)",
    ]
    assert lines[1].endswith("10.0 a second, 20 s left")


def test_words_of_the_project_are_shown_as_they_are_and_cannot_move_the_cursor() -> None:
    event = Event("pictures", 1, 10, note="[red]a[/red]\x1b[2J\nb shot 1")
    assert line_of(event).endswith("[red]a[/red][2Jb shot 1")
    stream = io.StringIO()
    with Bar(stream) as bar:
        bar(event)
    assert "[red]a[/red]" in stream.getvalue()
    assert "\x1b[2J" not in stream.getvalue()


@pytest.mark.parametrize(("eta_s", "words"), [(8.4, "8 s"), (75.0, "1 min 15 s"), (7_260.0, "2 h 01 min")])
def test_time_left_is_written_for_people(eta_s: float, words: str) -> None:
    assert line_of(Event("pictures", 1, 10, per_s=1.0, eta_s=eta_s)).endswith(f"{words} left")


def test_a_pipe_never_gets_a_bar_whatever_the_environment_says(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("FORCE_COLOR", "TTY_COMPATIBLE", "TTY_INTERACTIVE"):
        monkeypatch.setenv(name, "1")
    monkeypatch.setenv("TERM", "xterm")
    stream = io.StringIO()
    with shower(stream) as show:
        show(Event("pictures", 0, 10))
        show(Event("pictures", 10, 10))
    assert stream.getvalue() == "pictures: 0 of 10 frames (0 %)\npictures: 10 of 10 frames (100 %)\n"


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize(("term", "kind"), [("xterm-256color", Bar), ("dumb", Lines), ("", Lines)])
def test_a_terminal_gets_a_bar_where_it_can_redraw(term: str, kind: type, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", term)
    monkeypatch.setenv("NO_COLOR", "1")
    master, slave = os.openpty()
    with os.fdopen(slave, "w") as stream:
        show = shower(stream)
        assert isinstance(show, kind)
        with show:
            show(Event("pictures", 10, 10))
    shown = b""
    with contextlib.suppress(OSError):  # the other end is closed: all has been read
        while block := os.read(master, 65_536):
            shown += block
    os.close(master)
    assert b"100 %" in shown


@pytest.mark.parametrize("columns", ["40", "80"])
def test_a_bar_keeps_to_one_line_on_a_narrow_terminal(columns: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    stream = io.StringIO()
    with Bar(stream) as bar:
        bar(Event("pictures", 300, 1200, per_s=61.5, eta_s=14.6, note="a-rather-long-segment-id shot 3 from frame 600"))
    last = stream.getvalue().split("\x1b[2K")[-1]
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", last).rstrip()
    assert "\n" not in plain
    assert len(plain) <= int(columns)
    assert plain.startswith("pictures")
    assert "300 of 1200" in plain
