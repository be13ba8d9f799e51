"""What changed since the last run, in the words of a person: `caption 2 changed`, `capture quay changed`.

Compared are notes of what each part was made from, kept beside the parts by the part's name.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import TypedDict, cast

from assembler.render.jobs import Burn, PartJob, job_told


class Noted(TypedDict):
    """What a part was made from. told: digests by what a person calls the thing. captions: digest of the text, start
    and end frame in the part, and number in the programme, of each."""

    told: dict[str, str]
    captions: list[tuple[str, int, int, int]]


def noted(job: PartJob) -> Noted:
    """The notes of a part, fit for JSON."""
    captions = [(_print(burn), burn.start_frame, burn.end_frame, burn.number) for burn in job.captions]
    return {"told": job_told(job), "captions": captions}


def _print(burn: Burn) -> str:
    """A digest of what is drawn."""
    return hashlib.sha256(repr((burn.lines, burn.top)).encode()).hexdigest()[:16]


def changes(before: object, now: Noted) -> tuple[str, ...]:
    """Each thing that is not as it was. before: the notes of the last run, or anything else that was found there."""
    if not isinstance(before, dict) or not isinstance(before.get("told"), dict):
        return ("new",)
    told = cast(dict[str, str], before["told"])
    found = [f"{name} changed" for name, digest in now["told"].items() if told.get(name) != digest]
    found += _captions(before.get("captions"), now["captions"])
    return tuple(found) or ("not finished before",)


def _captions(stored: object, now: Sequence[tuple[str, int, int, int]]) -> list[str]:
    before = [tuple(each[:3]) for each in stored] if isinstance(stored, list) else []
    fresh = [each for each in now if each[:3] not in before]
    texts = {each[0] for each in before}
    found = [
        f"{_numbered(numbers)} {what}"
        for what, numbers in (
            ("changed", [number for text, _, _, number in fresh if text not in texts]),
            ("moved", [number for text, _, _, number in fresh if text in texts]),
        )
        if numbers
    ]
    return found if found or len(before) <= len(now) else ["a caption went away"]


def _numbered(numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return f"caption {numbers[0]}"
    return f"captions {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def only_once(reasons: Sequence[str]) -> list[str]:
    """Reasons of several parts, each once. What is new in some of them goes without saying beside what changed."""
    told = list(dict.fromkeys(reasons))
    return [each for each in told if each != "new"] if len(told) > 1 else told
