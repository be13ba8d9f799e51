"""A translation's caption file rides along with the narration it translates."""

from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path

from captions_edits import EDITS, ROOM_MS, Board, as_file, board, edit, stored
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assembler.captions.caption_file import FileCue
from assembler.captions.files import frame_at, millisecond
from assembler.captions.project import Files
from assembler.captions.record import Record
from assembler.captions.retime import first_file
from assembler.captions.translation import retime_translation, translations, untranslated

SEEDS = st.integers(0, 10**9)


def german(record: Record, rng: random.Random) -> list[FileCue]:
    """A file whose cues are split at other words than the narration's own, with an eye for the speech's pauses."""
    script, cues = record.script, []
    for line in script.lines:
        at = line.first
        while at < line.stop:
            stop = min(line.stop, at + rng.randint(2, 9))
            start_ms = max(millisecond(script.starts[at], record.rate) - rng.randint(0, 80), 0)
            end_ms = millisecond(script.ends[stop - 1], record.rate) - rng.randint(0, 60)
            if not cues or start_ms >= cues[-1].end_ms + ROOM_MS:
                cues.append(FileCue(start_ms, max(end_ms, start_ms + 40), (f"Zeile {len(cues)}",), len(cues) + 1))
            at = stop
    return cues


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(SEEDS, st.lists(st.sampled_from(EDITS), min_size=1, max_size=4))
def test_any_edits_keep_every_translated_cue_with_its_words_or_set_it_aside(seed: int, kinds: list[str]) -> None:
    rng = random.Random(seed)
    here = board(rng, 3)
    record = first_file(here.timeline()).record
    cues = german(record, rng)
    texts = {cue.lines for cue in cues}
    own = False
    for kind in kinds:
        here = edit(here, kind, rng)
        timeline = here.timeline()
        result = retime_translation(timeline, record, cues, own=own)
        own = True
        for before, after in pairwise(result.cues):
            assert before.start_ms < before.end_ms <= after.start_ms < after.end_ms
        assert all(cue.end_ms <= millisecond(timeline.frames, timeline.rate) for cue in result.cues)
        # Cue for cue: nothing is lost, doubled or reworded.
        held = [cue.lines for cue in result.cues] + [each.lines for each in result.record.aside]
        assert sorted(held) == sorted(texts)
        record, cues = stored(result.record), as_file(result)
        again = retime_translation(timeline, record, cues)
        assert again.unchanged
        assert (as_file(again), again.record) == (cues, record)


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.sampled_from(EDITS))
def test_an_edit_undone_gives_the_translation_back(seed: int, kind: str) -> None:
    rng = random.Random(seed)
    here = board(rng, 3)
    record = first_file(here.timeline()).record
    cues = german(record, rng)
    there = retime_translation(edit(here, kind, rng).timeline(), record, cues, own=False)
    back = retime_translation(here.timeline(), stored(there.record), as_file(there))
    if kind != "reword":
        assert [(cue.start_ms, cue.end_ms, cue.lines) for cue in back.cues] == [
            (cue.start_ms, cue.end_ms, cue.lines) for cue in cues
        ]


def test_a_cue_moves_by_what_its_words_move_and_gone_words_take_it_along() -> None:
    here = Board([("a", ["Ash keeps its place."]), ("b", ["The quay follows the water."])])
    record = first_file(here.timeline()).record
    script = record.script
    at = [millisecond(script.starts[word], record.rate) for word in (0, 4)]
    cues = [FileCue(at[0], at[0] + 900, ("Esche",), 1), FileCue(at[1] + 70, at[1] + 1200, ("Der Kai",), 2)]
    moved = Board([("c", ["A new line comes first."]), ("b", ["The quay follows the water."])])
    result = retime_translation(moved.timeline(), record, cues, own=False)
    (cue,) = result.cues
    new = result.record.script
    first = new.words.index("quay") - 1
    assert cue.start_ms == millisecond(new.starts[first], record.rate) + 70
    assert cue.end_ms - cue.start_ms == 1130
    assert [(each.was.lines, each.why) for each in result.aside] == [(("Esche",), "its words are no longer said")]
    assert [line.segment for line in untranslated(result)] == ["c"]
    assert frame_at(cue.start_ms, record.rate) < moved.timeline().frames


def test_only_files_named_by_a_language_are_translations(tmp_path: Path) -> None:
    folder = tmp_path / "captions"
    folder.mkdir()
    for name in ("en", "de", "pt-BR", "de.before", "de.aside", "en.before-2", "notes 1"):
        (folder / f"{name}.srt").write_text("")
    assert [files.language for files in translations(tmp_path, "en")] == ["de", "pt-BR"]
    assert Files(tmp_path, "de").record.name == "de.timing.json"
