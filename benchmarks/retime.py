"""How long a programme's corrected captions take to re-time, by their number: to be under 2 s at 10,000, and linear.

    python benchmarks/retime.py                    # about 1,000, 3,000 and 10,000 captions
    python benchmarks/retime.py --captions 20000

The programme: lines of words drawn by their rank (a word of rank r as 1/r, of 6,000 made-up words), eight lines a
segment. Every third caption is corrected by hand, some at their times. Then 30 edits: segments moved, deleted,
inserted, duplicated, split, renamed, lines reworded, moved, added and dropped, the pace and the rate changed. Timed is
CPU: the record read from its text, captions re-timed, the new record made into text; and the same once more.
"""

from __future__ import annotations

import argparse
import gc
import random
import sys
import time
from itertools import accumulate
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from captions_edits import EDITS, Board, as_file, by_hand, corrections, edit  # noqa: E402

from assembler.captions.record import from_json, to_json  # noqa: E402
from assembler.captions.retime import first_file, retime  # noqa: E402

WORDS = 6000


def vocabulary(rng: random.Random) -> list[str]:
    parts = ["ba", "dor", "fen", "gil", "har", "kel", "lum", "mar", "nod", "per", "quin", "ros", "sel", "tav", "vor"]
    return ["".join(rng.choice(parts) for _ in range(1 + rank % 3)) + str(rank % 7 or "") for rank in range(WORDS)]


def programme(captions: int, rng: random.Random) -> Board:
    words = vocabulary(rng)
    weights = list(accumulate(1 / rank for rank in range(1, WORDS + 1)))
    segments = []
    for number in range(max(1, captions // 13)):
        lines = []
        for _ in range(8):
            said = rng.choices(words, cum_weights=weights, k=rng.randint(5, 20))
            said[len(said) // 2] += ","
            lines.append(" ".join(said).capitalize() + ".")
        segments.append((f"s{number}", lines))
    return Board(segments, made=len(segments))


def run(captions: int) -> tuple[int, int, float, float]:
    rng = random.Random(1)
    board = programme(captions, rng)
    first = first_file(board.timeline())
    cues, _ = corrections(as_file(first), 3, rng)
    cues = by_hand(cues, ["late", "early", "add", "divide", "join", "delete"] * 5, rng)
    text = to_json(first.record)
    for kind in EDITS[:10] * 3:
        board = edit(board, kind, rng)
    board = edit(edit(board, "pace", rng), "rate", rng)
    timeline = board.timeline()
    gc.collect()
    begin = time.process_time()
    record = from_json(text, Path("en.timing.json"))
    result = retime(timeline, record, cues)
    text = to_json(result.record)
    middle = time.process_time()
    again = retime(timeline, from_json(text, Path("en.timing.json")), as_file(result))
    end = time.process_time()
    if not again.unchanged:
        raise SystemExit("the second run changed something")
    return len(cues), len(result.cues), middle - begin, end - middle


def main() -> int:
    parser = argparse.ArgumentParser(description="time the re-timing of captions")
    parser.add_argument("--captions", type=int, nargs="*", default=[1000, 3000, 10_000])
    parser.add_argument("--rounds", type=int, default=3, help="of which the fastest counts")
    options = parser.parse_args()
    print(f"{'captions':>9} {'after':>7} {'CPU s':>7} {'us each':>8} {'again s':>8}")
    for captions in options.captions:
        rounds = [run(captions) for _ in range(options.rounds)]
        before, after, once, _ = min(rounds, key=lambda each: each[2])
        again = min(each[3] for each in rounds)
        print(f"{before:9} {after:7} {once:7.2f} {once / before * 1e6:8.0f} {again:8.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
