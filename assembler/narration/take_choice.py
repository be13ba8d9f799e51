"""From everything known of the tries at each line to the take that is proposed, or to the reason why none is.

The last good take is meant. What is doubtful is flagged, never used in silence: above all when a later try at the
line, that may have been meant to replace the good one, could not be accepted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assembler.narration.choices import Verdict
from assembler.narration.take_judge import Evidence
from assembler.narration.take_sure import reason as reason_by_ear
from assembler.narration.take_sure import sure as sure_by_ear

SURE, HOPELESS = 0.6, 0.15
"""From the one on a try is taken for a good take, below the other for a failed one; between them it is doubtful."""
ATTEMPT = 0.5
"""A later failed try with this share of the line's words may have been meant as a take."""

# Fitted the way benchmarks/take_sessions.py --fit does it, on the tries of eight of its fifteen tuning sessions.
_BIAS = 5.22
_WEIGHTS = {"worst": 0.63, "rival": 0.49, "again": 4.72, "loud": 8.75, "left_out": 5.24, "refused": 5.18}
# For tries that were held against the reader's own measure, which takes the place of the worst score: set by hand near
# what a fit gave on 191 such tries of nine sessions, with more weight for other words that fit better.
_MEASURED_BIAS = 5.3
_MEASURED = {"short": 1.8, "rival": 0.5, "again": 4.5, "loud": 4.0, "headless": 0.8}
_USUALLY_SHORT = 2.0
# Set, not fitted: beyond these a try is doubtful whatever else speaks for it. In those sessions nearly no good take lay
# there, but misreadings of one word did that were right in everything else.
_MOST_RIVAL, _MOST_LOUD_S, _DOUBTFUL = 2.7, 0.2, 0.5
# Where a reader is heard well, another word that was heard was most likely said. First the share of whole lines with a
# word misheard up to which a reader is heard well; then how much better other words may fit there, and how much more
# for each share beyond. Set on 22 sessions of 12 voices and of real pieces with eight times the usual misreadings.
_WELL_HEARD, _LEAST_RIVAL, _RIVAL_A_SHARE = 0.15, 1.3, 7.0
_USUAL_MISHEARD, _USUAL_COUNTS = 0.3, 4  # that share before a reader has been heard, and how many lines it counts as
_AT_ONCE_S = 0.1
_ANOTHER_LINE, _LATE = 0.1, 0.25  # confidence below which, and lead from which, a try is of another line
_MOSTLY = 0.5  # share of the words heard in it from which on, if they are not the line's, a try is something else


@dataclass(frozen=True, slots=True)
class Candidate:
    """A try at a line. recording: index among those searched. in_s, out_s: where it is cut. confidence: that it is a
    whole and right reading, 0 to 1. why: what speaks against it, or ''. share, heard, lead, extra:
    see take_judge.Evidence."""

    recording: int
    in_s: float
    out_s: float
    confidence: float
    why: str
    share: float
    heard: str
    lead: float = 0.0
    extra: int = 0


@dataclass(frozen=True, slots=True)
class LineResult:
    """What is proposed for one line. picked: index into candidates (by place), None where there is nothing to use or
    to suggest."""

    verdict: Verdict
    picked: int | None
    why: str
    candidates: tuple[Candidate, ...]

    @property
    def confidence(self) -> float | None:
        return None if self.picked is None else self.candidates[self.picked].confidence


def features(evidence: Evidence) -> dict[str, float]:
    """What confidence is made of, each 0 where nothing speaks against the try."""
    return {
        "worst": 0.0 if evidence.refused else min(8.0, max(0.0, -evidence.worst - 3.5)),
        "short": 0.0 if evidence.short is None else max(0.0, evidence.short - _USUALLY_SHORT),
        "rival": min(4.0, max(0.0, evidence.rival)),
        "loud": min(1.0, max(0.0, evidence.loud_s - 0.05)),
        "left_out": 1.0 - min(1.0, evidence.share) + 1.5 * max(0.0, 0.7 - evidence.share),
        "again": 1.0 - evidence.again,
        "headless": float(evidence.lead >= _LATE and evidence.extra > 0),
        "refused": float(evidence.refused),
    }


def most_rival(tries: Sequence[Evidence]) -> float:
    """How much better than a line other words may fit in one recording, given all tries in it: the less, the better
    its reader is heard."""
    whole = [each for each in tries if not each.refused and confidence(each) >= SURE]
    misheard = sum(each.extra > 0 or each.share < 1.0 for each in whole)
    share = (misheard + _USUAL_MISHEARD * _USUAL_COUNTS) / (len(whole) + _USUAL_COUNTS)
    return min(_MOST_RIVAL, _LEAST_RIVAL + _RIVAL_A_SHARE * max(0.0, share - _WELL_HEARD))


def confidence(evidence: Evidence, rival_limit: float = _MOST_RIVAL) -> float:
    """How likely it is that a try is a whole, right reading, 0 to 1. rival_limit: see `most_rival`."""
    if evidence.ear is not None:
        return sure_by_ear(evidence.ear)
    bias = _BIAS if evidence.short is None else _MEASURED_BIAS
    sure = 1.0 / (1.0 + math.exp(-(bias - sum(_against(evidence).values()))))
    contradicted = evidence.rival >= _limit(evidence, rival_limit) and evidence.short is None
    return min(sure, _DOUBTFUL) if contradicted or evidence.loud_s > _MOST_LOUD_S else sure


def _against(evidence: Evidence) -> dict[str, float]:
    """What speaks against a try, weighed."""
    weights = _WEIGHTS if evidence.short is None else _MEASURED
    return {name: weights.get(name, 0.0) * value for name, value in features(evidence).items()}


def _limit(evidence: Evidence, rival_limit: float) -> float:
    """A slip of the tongue is one word for another; where more are heard, it is the listener who errs."""
    return rival_limit if evidence.extra <= 1 else _MOST_RIVAL


def reason(evidence: Evidence, rival_limit: float = _MOST_RIVAL) -> str:
    """What speaks most against a try, in words, or ''. rival_limit: see `most_rival`."""
    if evidence.ear is not None:
        return reason_by_ear(evidence.ear)
    if evidence.share < 0.6 and (evidence.short is None or evidence.short > _USUALLY_SHORT + 1.0):
        return "broken off, or only a part of the line"
    if evidence.refused:
        return "the line's words could not be placed in it"
    weighed = _against(evidence)
    name, most = max(weighed.items(), key=lambda each: each[1])
    heard = f"sounds like '{evidence.heard}'"
    if most < 0.7:
        return heard if evidence.short is None and evidence.rival >= _limit(evidence, rival_limit) else ""
    words = {
        "worst": f"'{_worst_word(evidence)}' fits its sound badly",
        "short": heard,
        "headless": heard,
        "rival": heard,
        "loud": f"{evidence.loud_s:.1f} s of sound in it under no word",
        "left_out": heard,
        "again": heard,
        "refused": heard,
    }
    return words[name]


def _worst_word(evidence: Evidence) -> str:
    return min(evidence.words, key=lambda word: word.score).word if evidence.words else ""


def explained(candidates: Mapping[str, Sequence[Candidate]]) -> dict[str, tuple[Candidate, ...]]:
    """Without what only looks like a try at a line, because it is another line's.

    A failed try goes when most of it lies in a much surer try at another line, or in a longer try at another line of
    which far more was heard, or when it lacks the line's beginning and follows at once on another line's or has other
    words in place of it: that line was misread with words of this one. Where most words heard in it are not the line's,
    it is an aside. What begins in the middle with no other words
    before it stays: somebody may have read the rest of the line again.
    """
    everything = [(key, each) for key, tries in candidates.items() for each in tries]
    return {
        key: tuple(
            each for each in tries
            if each.confidence >= SURE
            or _begins_again(each, tries)
            or not (_is_another(each) or any(_explains(rival, each) for other, rival in everything if other != key))
        )
        for key, tries in candidates.items()
    }  # fmt: skip


def _begins_again(failed: Candidate, tries: Sequence[Candidate]) -> bool:
    """Whether a try begins within another try at the same line, or at once after it: the reader began again there, and
    the other may be what was broken off, a few words of this one taken for its end."""
    return failed.share >= ATTEMPT and any(
        one.recording == failed.recording and one.in_s < failed.in_s <= one.out_s + _AT_ONCE_S
        for one in tries
        if one is not failed and one.confidence >= SURE
    )


def _is_another(failed: Candidate) -> bool:
    if failed.confidence >= _ANOTHER_LINE:
        return False
    mostly_other = failed.extra > _MOSTLY * len(failed.heard.split())
    return mostly_other or (failed.lead >= _LATE and failed.extra > 0)


def _explains(rival: Candidate, failed: Candidate) -> bool:
    if rival.recording != failed.recording:
        return False
    shared = min(rival.out_s, failed.out_s) - max(rival.in_s, failed.in_s)
    if shared > 0.5 * (failed.out_s - failed.in_s) and rival.confidence >= max(0.5, failed.confidence + 0.3):
        return True
    longer = rival.out_s - rival.in_s >= 1.3 * (failed.out_s - failed.in_s)
    if longer and shared > 0.8 * (failed.out_s - failed.in_s) and rival.share >= failed.share + 0.25:
        return True
    follows = rival.in_s <= failed.in_s + 0.3 and rival.out_s >= failed.in_s - 0.3
    return failed.lead >= _LATE and failed.confidence < HOPELESS and rival.lead < _LATE and follows


def choose(candidates: Sequence[Candidate]) -> LineResult:
    """The line's take out of all tries at it, which come in the order in which they were recorded."""
    found = tuple(candidates)
    good = [n for n, each in enumerate(found) if each.confidence >= SURE]
    open_ = [n for n, each in enumerate(found) if HOPELESS <= each.confidence < SURE]
    if not found or (not good and not open_ and all(each.share < ATTEMPT for each in found)):
        return LineResult("missing", None, "nothing that was heard is this line", found)
    if not good:
        if open_:
            return LineResult("flagged", open_[-1], found[open_[-1]].why or "not sure that this is the line", found)
        return LineResult("flagged", len(found) - 1, f"no try succeeded: {found[-1].why}", found)
    pick = good[-1]
    later = [each for each in found[pick + 1 :] if each.share >= ATTEMPT or each.confidence >= HOPELESS]
    if later:
        why = f"a later try at {clock_s(later[-1].in_s)} could not be accepted: {later[-1].why or 'not sure'}"
        return LineResult("flagged", pick, why, found)
    said = "the only take" if len(good) == 1 else f"the last of {len(good)} good takes"
    return LineResult("proposed", pick, f"{said}; {found[pick].why}" if found[pick].why else said, found)


def clock_s(seconds: float) -> str:
    """'1:02:03.45' or '2:03.45'."""
    hundredths = round(seconds * 100)
    minutes, rest = divmod(hundredths, 6000)
    hours, minutes = divmod(minutes, 60)
    tail = f"{minutes:02}:{rest // 100:02}.{rest % 100:02}" if hours else f"{minutes}:{rest // 100:02}.{rest % 100:02}"
    return f"{hours}:{tail}" if hours else tail
