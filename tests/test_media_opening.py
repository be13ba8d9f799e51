"""The one door for reading: what it lets in, what it refuses, and how it says so."""

from __future__ import annotations

import ast
import os
from pathlib import Path

import pytest
from media_maker import Sound, tone, write_clip, write_sound

import assembler.media
from assembler.errors import MediaError
from assembler.media import opening
from assembler.media.opening import open_media
from assembler.media.probe import probe

HLS = "#EXTM3U\n#EXT-X-VERSION:3\n#EXT-X-TARGETDURATION:2\n#EXTINF:1.0,\n{}\n#EXT-X-ENDLIST\n"
CONCAT = "ffconcat version 1.0\nfile '{}'\n"


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    return write_clip(tmp_path / "clip.mp4", pictures=3)


# Source of the table: what libavformat 62 opens when it is given no lists, measured case by case.
@pytest.mark.parametrize("name", ["list.m3u8", "list.mp4", "list.mkv", "list.txt"])
@pytest.mark.parametrize("text", [HLS, CONCAT, "[playlist]\nFile1={}\n"])
@pytest.mark.parametrize(
    "target", ["clip.mp4", "{folder}/clip.mp4", "file:{folder}/clip.mp4", "/etc/passwd", "http://127.0.0.1:9/x.ts"]
)
def test_a_text_that_names_other_files_is_refused(
    tmp_path: Path, clip: Path, name: str, text: str, target: str
) -> None:
    listing = tmp_path / name
    listing.write_text(text.format(target.format(folder=tmp_path)))
    with pytest.raises(MediaError, match="list of other files") as caught:
        open_media(listing)
    assert name in str(caught.value)
    assert "mend:" in str(caught.value)


@pytest.mark.parametrize(
    "name", ["concat:clip.mp4", "subfile,,start,0,end,0,,:clip.mp4", "http://127.0.0.1:9/clip.mp4", "img%d.png"]
)
def test_a_name_that_looks_like_a_protocol_or_pattern_is_only_a_name(
    tmp_path: Path, clip: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from PIL import Image

    for number in range(3):
        Image.new("RGB", (32, 32)).save(tmp_path / f"img{number}.png")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(MediaError, match="cannot be opened"):
        open_media(Path(name))


@pytest.mark.parametrize(
    "name", ["a:b.mp4", "file:a.mp4", "two words.mp4", "-dash.mp4", "hafen 🌊 été.mp4", "100%d.mp4", "a'b\"c.mp4"]
)
def test_odd_names_open(tmp_path: Path, clip: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    clip.rename(tmp_path / name)
    monkeypatch.chdir(tmp_path)
    assert probe(Path(name)).pictures == 3
    assert probe(tmp_path / name).pictures == 3


def test_stills_and_pixel_dumps_are_not_captures(tmp_path: Path) -> None:
    from PIL import Image

    Image.new("RGB", (32, 32)).save(tmp_path / "still.png")
    (tmp_path / "noise.mp4").write_bytes(bytes(range(256)) * 40)
    (tmp_path / "words.mp4").write_text("These are only words.\n" * 50)
    for name in ("still.png", "noise.mp4", "words.mp4"):
        with pytest.raises(MediaError, match=f"{name}' is not a media file"):
            open_media(tmp_path / name)


def test_what_is_not_an_ordinary_file_is_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.mp4")
    (tmp_path / "folder.mp4").mkdir()
    (tmp_path / "empty.mp4").touch()
    for name, why in (
        ("pipe.mp4", "ordinary"),
        ("folder.mp4", "ordinary"),
        ("empty.mp4", "empty"),
        ("none.mp4", "No such file"),
    ):
        with pytest.raises(MediaError, match=why):
            open_media(tmp_path / name)
    with pytest.raises(MediaError, match="cannot be opened"):
        open_media(tmp_path / ("x" * 300 + ".mp4"))


def test_limits_on_streams_and_pixels(tmp_path: Path, clip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "MAX_PIXELS", 160 * 90 - 1)
    with pytest.raises(MediaError, match="160x90"):
        open_media(clip)
    monkeypatch.setattr(opening, "MAX_PIXELS", 160 * 90)
    open_media(clip).close()
    monkeypatch.setattr(opening, "MAX_STREAMS", 1)
    both = write_clip(tmp_path / "both.mp4", pictures=3, sound=Sound(tone(440, seconds=0.1), codec="aac"))
    with pytest.raises(MediaError, match="2 streams"):
        open_media(both)


def test_a_file_without_pictures_is_no_capture(tmp_path: Path) -> None:
    with pytest.raises(MediaError, match="has no pictures"):
        probe(write_sound(tmp_path / "a.wav", Sound(tone(440, seconds=0.1))))


def test_files_are_read_through_the_one_door_only() -> None:
    """Elsewhere only parts just written are opened, and these with format and protocol fixed."""
    folder = Path(assembler.media.__file__).parent
    readers = []
    for source in sorted(folder.parent.rglob("*.py")):
        tree = ast.parse(source.read_text(encoding="utf-8"))
        imports = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
        names = [alias.name for node in imports if isinstance(node, ast.Import) for alias in node.names]
        names += [node.module or "" for node in imports if isinstance(node, ast.ImportFrom)]
        if any(name.split(".")[0] == "av" for name in names):
            assert source.parent == folder, f"{source} imports av"
        for node in ast.walk(tree):
            if not (isinstance(node, ast.Call) and ast.unparse(node.func) in ("av.open", "av.container.open")):
                continue
            mode = node.args[1] if len(node.args) > 1 else None
            if isinstance(mode, ast.Constant) and mode.value == "w":
                continue
            given = {word.arg: ast.unparse(word.value) for word in node.keywords}
            if source.name != "opening.py":
                assert given.get("format") == "'mov'" and "'protocol_whitelist': 'file'" in given.get("options", "")
            readers.append(source.name)
    assert "opening.py" in readers
