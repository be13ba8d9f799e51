"""Captions as a person gets them from the command line: tracks, files with markup, and files of others."""

from __future__ import annotations

import json
from pathlib import Path

import av
import pytest

from assembler.cli.main import main

CARD = """\
storyboard: 1
title: t
canvas: {size: 160x90, rate: 30}
segments:
  - {id: one, lasts: fit, say: Both machines draw the same pictures., show: {card: Hello}}
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    folder = tmp_path / "project"
    folder.mkdir()
    (folder / "storyboard.yaml").write_text(CARD, encoding="utf-8")
    return folder


def track(path: Path) -> list[str] | None:
    """The texts of a file's caption track, None where it has none."""
    with av.open(str(path)) as container:
        if not container.streams.subtitles:
            return None
        found = [bytes(packet) for packet in container.demux(container.streams.subtitles[0]) if packet.size]
    return [text for data in found if (text := data[2 : 2 + int.from_bytes(data[:2], "big")].decode())]


@pytest.mark.parametrize(
    ("key", "options", "there"),
    [
        ("", [], False),
        ("", ["--no-captions"], True),
        ("", ["--soft-captions"], True),
        ("", ["--no-captions", "--no-soft-captions"], False),
        ("captions: {soft: true}\n", [], True),
        ("captions: {burn: false}\n", [], True),
        ("captions: {burn: false, soft: false}\n", [], False),
        ("captions: {soft: true}\n", ["--no-soft-captions"], False),
    ],
)
def test_a_draft_has_a_track_where_it_is_wanted(project: Path, key: str, options: list[str], there: bool) -> None:
    (project / "storyboard.yaml").write_text(CARD.replace("segments:", f"{key}segments:"), encoding="utf-8")
    assert main(["draft", str(project), *options]) == 0
    expected = ["Both machines draw\nthe same pictures."] if there else None
    found = track(project / "out" / "draft.mp4")
    assert (found and [" ".join(text.split()) for text in found]) == (
        expected and [" ".join(text.split()) for text in expected]
    )


def test_a_persons_markup_is_in_every_file_and_in_the_track(project: Path) -> None:
    assert main(["retime", str(project)]) == 0
    mine = project / "captions" / "en.srt"
    mine.write_text(mine.read_text("utf-8").replace("machines", "<i>machines</i>"), encoding="utf-8")
    assert main(["draft", str(project), "--soft-captions"]) == 0
    out = project / "out"
    assert "Both <i>machines</i> draw" in (out / "draft.srt").read_text("utf-8")
    assert "Both <i>machines</i> draw" in (out / "draft.vtt").read_text("utf-8")
    assert 'Both <span tts:fontStyle="italic">machines</span> draw' in (out / "draft.ttml").read_text("utf-8")
    with av.open(str(out / "draft.mp4")) as container:
        data = b"".join(bytes(packet) for packet in container.demux(container.streams.subtitles[0]))
    assert b"styl" in data and b"<i>" not in data


def test_a_file_of_others_is_checked_and_written_anew(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken = tmp_path / "broken.srt"
    broken.write_bytes("1\r\n00:00:01.0 -> 00:00:02,000\r\n<i>für</i> & < alle\r\n".encode("latin-1"))
    assert main(["captions", str(broken), "--write", str(tmp_path / "good.vtt")]) == 0
    said = capsys.readouterr()
    assert f"{broken}:2:1: warning: '->' was taken for '-->' [caption-repaired]" in said.err
    assert f"{broken}:3:1: warning: this is not UTF-8" in said.err
    assert said.out == f"{tmp_path / 'good.vtt'}\n"
    good = "00:00:01.000 --> 00:00:02.000\n<i>für</i> &amp; &lt; alle\n"
    assert (tmp_path / "good.vtt").read_text("utf-8").endswith(good)
    for end in ("srt", "ttml"):
        assert main(["captions", str(tmp_path / "good.vtt"), "--write", str(tmp_path / f"again.{end}")]) == 0
        assert main(["captions", str(tmp_path / f"again.{end}"), "--json"]) == 0
        result = json.loads(capsys.readouterr().out.split("\n", 1)[1])
        assert (result["form"], result["captions"], result["findings"]) == (end, 1, [])
    # SubRip has no escape: a word joiner stands behind a sign that could begin a tag.
    assert "<i>für</i> & <\u2060 alle" in (tmp_path / "again.srt").read_text("utf-8")
    assert "frameRate" not in (tmp_path / "again.ttml").read_text("utf-8")


def test_what_cannot_be_read_is_an_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.vtt"
    bad.write_text("WEBVTT\n\n00:02.000 --> 00:01.000\nturned\n", encoding="utf-8")
    assert main(["captions", str(bad)]) == 1
    assert f"{bad}:3:1: error: the caption ends before it starts" in capsys.readouterr().err
    assert main(["captions", str(bad), "--write", str(tmp_path / "new.srt")]) == 1
    assert not (tmp_path / "new.srt").exists()
    assert main(["captions", str(bad), "--write", str(bad)]) == 2
    assert main(["captions", str(bad), "--write", str(tmp_path / "new.txt")]) == 2
    assert main(["captions", str(tmp_path / "none.srt")]) == 2


def test_captions_over_each_other_are_parted_in_a_new_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "two.vtt"
    cues = ("00:01.000 --> 00:03.000\none", "00:02.000 --> 00:04.000\ntwo", "00:02.000 --> 00:03.000\nthree")
    file.write_text("\n\n".join(("WEBVTT", *cues)) + "\n", encoding="utf-8")
    assert main(["captions", str(file), "--write", str(tmp_path / "two.srt")]) == 0
    assert "two.vtt:3:1: warning: it ends after the next one starts" in capsys.readouterr().err
    text = (tmp_path / "two.srt").read_text("utf-8")
    assert "00:00:01,000 --> 00:00:02,000\none\n" in text
    assert "00:00:02,000 --> 00:00:04,000\ntwo\nthree\n" in text
