"""How long a line will take to say, and when each word falls, before anybody has said it.

A word costs its spoken syllables plus half a unit (runs of short words are slower than their syllables
alone). At a pace of W words a minute one unit lasts

    60 / W / 2 seconds:

ordinary text holds about 1.5 syllables a word (common practice, no source), hence 2 units a word. Pauses inside a
line are added at punctuation, in seconds at 160 words a minute and in proportion at another pace: comma 0.25, dash,
colon and semicolon 0.40, full stop, question and exclamation mark 0.60 (Liu et al. 2022 found 0.6 s rated the most
natural). Nothing follows the last word; pauses between lines are the storyboard's. Same line, same pace: same
samples, everywhere. Until a reader's real pace is known an estimate may miss a line by a quarter or more.

Languages other than English: a syllable is taken as 2.8 letters, at least one a word (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from assembler.narration.speech import Speech, Word
from assembler.narration.spoken import SpokenToken, spoken_form
from assembler.timing.rates import SAMPLE_RATE

_UNITS_A_WORD = 2.0
_PER_WORD = 0.5
_PAUSES_S = ((".!?…", 0.60), (";:—–", 0.40), (",", 0.25))
_PAUSE_PACE = 160.0
_SHORTEST_WORD_S = 0.08
_VOWELS = re.compile(r"[aeiouyàâäéèêëîïôöùûüœ]+")
_CLOSERS = "\"'”’)]»"


def estimate(line: str | Sequence[SpokenToken], pace: int, language: str = "en") -> Speech:
    """A line, its text or what is said for it, as it will probably be said; nothing to hear. pace: words a minute."""
    tokens = _tokens(line, language)
    costs = _seconds(tokens, pace, language)
    total = sum(speech + pause for speech, pause in costs)
    said = sum(len(token.words) for token in tokens)
    return Speech("estimate", round(total * SAMPLE_RATE), _lay(tokens, costs, SAMPLE_RATE), said=said)


def spread(line: str | Sequence[SpokenToken], samples: int, language: str = "en") -> tuple[Word, ...]:
    """Word times for a recording of known length whose words have not been found: the estimate's own
    proportions, stretched over `samples`."""
    tokens = _tokens(line, language)
    costs = _seconds(tokens, round(_PAUSE_PACE), language)
    total = sum(speech + pause for speech, pause in costs)
    return _lay(tokens, costs, samples / total) if total else ()


def _tokens(line: str | Sequence[SpokenToken], language: str) -> Sequence[SpokenToken]:
    return spoken_form(line, language=language) if isinstance(line, str) else line


def syllables(word: str, language: str = "en") -> int:
    """Syllables of a spoken form (one or several words), each word at least one."""
    return sum(_syllables_of_one(part, language) for part in re.split(r"[\s\-/]+", word) if _letters(part))


def _letters(part: str) -> str:
    return "".join(sign for sign in part.casefold() if sign.isalnum())


def _syllables_of_one(part: str, language: str) -> int:
    letters = _letters(part)
    if not language.casefold().startswith("en"):
        return max(1, round(len(letters) / 2.8))
    if 1 < len(letters) <= 4 and part.strip(".,;:!?\"'()").isupper() and not _VOWELS.search(letters):
        return len(letters)  # spelt out
    count = len(_VOWELS.findall(letters))
    # A last `e` is silent (frame), but not after a consonant and `l` (table), nor when it is the only vowel.
    if count > 1 and re.search(r"[^aeiouyl]e$|[aeiouy]le$|[^td]ed$", letters):
        count -= 1
    return max(1, count)


def _pause_s(word: str) -> float:
    ending = word.rstrip(_CLOSERS)[-1:]
    return next((seconds for signs, seconds in _PAUSES_S if ending and ending in signs), 0.0)


def _seconds(tokens: Sequence[SpokenToken], pace: int, language: str) -> list[tuple[float, float]]:
    """Seconds of speech and of the pause after it, for each written word. A lone sign counts as a short word; a word
    that another one's reading takes in lasts no time."""
    unit = 60.0 / pace / _UNITS_A_WORD
    nothing = not any(token.words for token in tokens)
    costs = []
    for token in tokens:
        parts = len(token.words)
        speech = max(_SHORTEST_WORD_S, unit * (syllables(token.said, language) + _PER_WORD * parts))
        costs.append((speech if parts or nothing else 0.0, _pause_s(token.trailing) * _PAUSE_PACE / pace))
    if costs:
        costs[-1] = (costs[-1][0], 0.0)
    return costs


def _lay(
    tokens: Sequence[SpokenToken], costs: Sequence[tuple[float, float]], samples_a_unit: float
) -> tuple[Word, ...]:
    words = []
    at = 0.0
    for token, (speech, pause) in zip(tokens, costs, strict=True):
        words.append(Word(token.display, round(at * samples_a_unit), round((at + speech) * samples_a_unit)))
        at += speech + pause
    return tuple(words)
