"""Written phrases with their readings, and technical lines made from them."""

from __future__ import annotations

import random
from pathlib import Path

_HERE = Path(__file__).resolve().parent


def readings(name: str) -> dict[str, str]:
    """Written to spoken, from a list of tab-parted pairs; lines that begin with `# ` are remarks."""
    lines = (_HERE / name).read_text(encoding="utf-8").splitlines()
    parted = (line.partition("\t") for line in lines if not line.startswith("# "))
    return {written: said for written, _, said in parted}


def technical_lines(count: int, seed: int = 1, phrases_most: int = 6) -> list[str]:
    """Lines of 8 to 40 written words, made of the listed phrases and plain words."""
    dice = random.Random(seed)
    phrases = list(readings("spoken_list.tsv"))
    joints = ["on the quay", "and the other", "at the end", "it stays near", "while Birch shows", "- then -", "of the"]
    lines = []
    for _ in range(count):
        parts = []
        for _ in range(dice.randint(2, phrases_most)):
            parts += [dice.choice(phrases) + dice.choice(["", "", ",", ".", ";"]), dice.choice(joints)]
        lines.append(f"Ash holds {' '.join(parts)} here.")
    return lines
