"""Which way each character reads: embedding levels and the visual order of runs.

The Unicode Bidirectional Algorithm (UAX #9) with isolates and bracket pairs, over the character
data that Python ships. Rule names in comments (X1, W4, ...) are those of the annex.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from bidi.mirror import MIRRORED

DEEPEST_LEVEL = 125
MOST_OPEN_BRACKETS = 63

_ISOLATES = frozenset(("LRI", "RLI", "FSI"))
_REMOVED = frozenset(("LRE", "RLE", "LRO", "RLO", "PDF", "BN"))
_NEUTRAL = frozenset(("B", "S", "WS", "ON", "LRI", "RLI", "FSI", "PDI"))
_STRONG = {"L": "L", "R": "R", "EN": "R", "AN": "R"}  # what N0 to N2 take a type for
_SAME_BRACKET = {"\u2329": "\u3008", "\u232a": "\u3009"}  # canonically equivalent pairs


def base_level(text: str) -> int:
    """0 for a line that reads from the left, 1 from the right: by the first strong character (P2, P3)."""
    types = _types(text)
    return _first_strong(types, 0, len(types), _matching_ends(types))


def reads_from_right(text: str) -> bool:
    """Whether any character of the text does."""
    return any(kind in ("R", "AL") for kind in _types(text))


def levels(text: str, base: int | None = None) -> tuple[int, ...]:
    """The embedding level of every character of one line; odd levels read from the right.

    base: 0 or 1 to force the line's direction, None to take it from the text. Characters that the
    annex removes (X9) get the level of the character before them.
    """
    original = _types(text)
    ends = _matching_ends(original)
    if base is None:
        base = _first_strong(original, 0, len(original), ends)
    types, explicit = _explicit(original, ends, base)
    found = list(explicit)
    for sequence in _isolating_runs(original, explicit, ends):
        _resolve(text, original, types, explicit, found, sequence, base, ends)
    _fill_removed(original, found, base)
    _reset_edges(original, found, base)
    return tuple(found)


def visual_order(run_levels: Sequence[int]) -> list[int]:
    """Indexes of runs (or characters) from left to right, given their levels (L2)."""
    order = list(range(len(run_levels)))
    if not order:
        return order
    odd = [level for level in run_levels if level % 2]
    for level in range(max(run_levels), (min(odd) if odd else max(run_levels) + 1) - 1, -1):
        start = 0
        while start < len(order):
            if run_levels[order[start]] < level:
                start += 1
                continue
            end = start
            while end < len(order) and run_levels[order[end]] >= level:
                end += 1
            order[start:end] = order[start:end][::-1]
            start = end
    return order


def _types(text: str) -> list[str]:
    return [unicodedata.bidirectional(character) or "L" for character in text]


def _matching_ends(types: Sequence[str]) -> dict[int, int]:
    """For each isolate that is closed: where its closing character stands (BD9)."""
    open_at: list[int] = []
    ends: dict[int, int] = {}
    for index, kind in enumerate(types):
        if kind in _ISOLATES:
            open_at.append(index)
        elif kind == "PDI" and open_at:
            ends[open_at.pop()] = index
        elif kind == "B":
            open_at.clear()
    return ends


def _first_strong(types: Sequence[str], start: int, stop: int, ends: dict[int, int]) -> int:
    index = start
    while index < stop:
        kind = types[index]
        if kind in ("L", "R", "AL"):
            return 0 if kind == "L" else 1
        if kind in _ISOLATES:
            index = ends.get(index, stop)
        index += 1
    return 0


def _explicit(original: Sequence[str], ends: dict[int, int], base: int) -> tuple[list[str], list[int]]:
    """Levels from embeddings, overrides and isolates (X1 to X8)."""
    types = list(original)
    found = [base] * len(types)
    stack: list[tuple[int, str, bool]] = [(base, "", False)]
    over_isolates = over_embeddings = valid_isolates = 0
    for index, kind in enumerate(original):
        level, override, _ = stack[-1]
        if kind in ("RLE", "LRE", "RLO", "LRO"):
            found[index] = level
            deeper = (level + 1) | 1 if kind[0] == "R" else (level + 2) & ~1
            if deeper <= DEEPEST_LEVEL and not over_isolates and not over_embeddings:
                stack.append((deeper, kind[0] if kind[2] == "O" else "", False))
            elif not over_isolates:
                over_embeddings += 1
        elif kind in _ISOLATES:
            found[index] = level
            types[index] = override or kind
            right = kind == "RLI"
            if kind == "FSI":
                right = bool(_first_strong(original, index + 1, ends.get(index, len(original)), ends))
            deeper = (level + 1) | 1 if right else (level + 2) & ~1
            if deeper <= DEEPEST_LEVEL and not over_isolates and not over_embeddings:
                valid_isolates += 1
                stack.append((deeper, "", True))
            else:
                over_isolates += 1
        elif kind == "PDI":
            if over_isolates:
                over_isolates -= 1
            elif valid_isolates:
                over_embeddings = 0
                while not stack[-1][2]:
                    stack.pop()
                stack.pop()
                valid_isolates -= 1
            level, override, _ = stack[-1]
            found[index] = level
            types[index] = override or kind
        elif kind == "PDF":
            found[index] = level
            if over_isolates:
                pass
            elif over_embeddings:
                over_embeddings -= 1
            elif not stack[-1][2] and len(stack) > 1:
                stack.pop()
        elif kind == "B":
            stack = [(base, "", False)]
            over_isolates = over_embeddings = valid_isolates = 0
            found[index] = base
        else:
            found[index] = level
            if override and kind != "BN":
                types[index] = override
    return types, found


def _isolating_runs(original: Sequence[str], found: Sequence[int], ends: dict[int, int]) -> list[list[int]]:
    """Level runs, joined across isolates (BD13, X10)."""
    runs: list[list[int]] = []
    for index, kind in enumerate(original):
        if kind in _REMOVED:
            continue
        if runs and found[runs[-1][-1]] == found[index] and original[runs[-1][-1]] != "B":
            runs[-1].append(index)
        else:
            runs.append([index])
    run_of_start = {run[0]: run for run in runs}
    closers = set(ends.values())
    sequences = []
    for run in runs:
        if original[run[0]] == "PDI" and run[0] in closers:
            continue  # the sequence of its opener takes it up
        sequence = list(run)
        while sequence[-1] in ends and ends[sequence[-1]] in run_of_start:
            sequence.extend(run_of_start[ends[sequence[-1]]])
        sequences.append(sequence)
    return sequences


def _resolve(
    text: str,
    original: Sequence[str],
    types: Sequence[str],
    explicit: Sequence[int],
    found: list[int],
    sequence: Sequence[int],
    base: int,
    ends: dict[int, int],
) -> None:
    """Weak types, brackets, neutrals and implicit levels of one isolating run sequence."""
    level = explicit[sequence[0]]
    before = next((explicit[i] for i in range(sequence[0] - 1, -1, -1) if original[i] not in _REMOVED), base)
    last = sequence[-1]
    if original[last] in _ISOLATES and last not in ends:
        after = base
    else:
        after = next((explicit[i] for i in range(last + 1, len(explicit)) if original[i] not in _REMOVED), base)
    sos = "R" if max(level, before) % 2 else "L"
    eos = "R" if max(level, after) % 2 else "L"
    kinds = [types[i] for i in sequence]
    _weak(kinds, sos)
    _brackets(text, original, kinds, sequence, sos, "R" if level % 2 else "L")
    _neutral(kinds, sos, eos, "R" if level % 2 else "L")
    for index, kind in zip(sequence, kinds, strict=True):
        if level % 2:  # I2
            found[index] = level + (kind != "R")
        else:  # I1
            found[index] = level + {"L": 0, "R": 1}.get(kind, 2)


def _weak(kinds: list[str], sos: str) -> None:
    before = sos
    for i, kind in enumerate(kinds):  # W1
        if kind == "NSM":
            kinds[i] = "ON" if before in _ISOLATES or before == "PDI" else before
        before = kinds[i]
    strong = sos
    for i, kind in enumerate(kinds):  # W2, W3
        if kind in ("L", "R", "AL"):
            strong = kind
            if kind == "AL":
                kinds[i] = "R"
        elif kind == "EN" and strong == "AL":
            kinds[i] = "AN"
    for i in range(1, len(kinds) - 1):  # W4
        if kinds[i - 1] == kinds[i + 1] and (
            (kinds[i] in ("ES", "CS") and kinds[i - 1] == "EN") or (kinds[i] == "CS" and kinds[i - 1] == "AN")
        ):
            kinds[i] = kinds[i - 1]
    start = 0
    while start < len(kinds):  # W5
        if kinds[start] != "ET":
            start += 1
            continue
        end = start
        while end < len(kinds) and kinds[end] == "ET":
            end += 1
        if (start and kinds[start - 1] == "EN") or (end < len(kinds) and kinds[end] == "EN"):
            kinds[start:end] = ["EN"] * (end - start)
        start = end
    strong = sos
    for i, kind in enumerate(kinds):  # W6, W7
        if kind in ("ES", "ET", "CS"):
            kinds[i] = "ON"
        elif kind in ("L", "R"):
            strong = kind
        elif kind == "EN" and strong == "L":
            kinds[i] = "L"


def _pairs(text: str, kinds: Sequence[str], sequence: Sequence[int]) -> list[tuple[int, int]]:
    """Matching brackets as positions in the sequence, by their opening (BD16)."""
    open_brackets: list[tuple[str, int]] = []
    pairs = []
    for position, index in enumerate(sequence):
        character = text[index]
        if kinds[position] != "ON" or character not in MIRRORED:
            continue
        category = unicodedata.category(character)
        if category == "Ps":
            if len(open_brackets) == MOST_OPEN_BRACKETS:
                break
            closing = MIRRORED[character]
            open_brackets.append((_SAME_BRACKET.get(closing, closing), position))
        elif category == "Pe":
            wanted = _SAME_BRACKET.get(character, character)
            for depth in range(len(open_brackets) - 1, -1, -1):
                if open_brackets[depth][0] == wanted:
                    pairs.append((open_brackets[depth][1], position))
                    del open_brackets[depth:]
                    break
    return sorted(pairs)


def _brackets(
    text: str, original: Sequence[str], kinds: list[str], sequence: Sequence[int], sos: str, own: str
) -> None:
    """A pair of brackets takes one direction, from what it holds and what stands before it (N0)."""
    for start, end in _pairs(text, kinds, sequence):
        inside = {_STRONG[kind] for kind in kinds[start + 1 : end] if kind in _STRONG}
        if own in inside:
            chosen = own
        elif inside:
            before = next((_STRONG[kinds[i]] for i in range(start - 1, -1, -1) if kinds[i] in _STRONG), sos)
            chosen = before if before != own else own
        else:
            continue
        for position in (start, end):
            kinds[position] = chosen
            for following in range(position + 1, len(kinds)):
                if original[sequence[following]] != "NSM":
                    break
                kinds[following] = chosen


def _neutral(kinds: list[str], sos: str, eos: str, own: str) -> None:
    start = 0
    while start < len(kinds):  # N1, N2
        if kinds[start] not in _NEUTRAL:
            start += 1
            continue
        end = start
        while end < len(kinds) and kinds[end] in _NEUTRAL:
            end += 1
        left = _STRONG[kinds[start - 1]] if start else sos
        right = _STRONG[kinds[end]] if end < len(kinds) else eos
        kinds[start:end] = [left if left == right else own] * (end - start)
        start = end


def _fill_removed(original: Sequence[str], found: list[int], base: int) -> None:
    for index, kind in enumerate(original):
        if kind in _REMOVED:
            found[index] = found[index - 1] if index else base


def _reset_edges(original: Sequence[str], found: list[int], base: int) -> None:
    """Separators, and white space before them or at the line's end, follow the line (L1)."""
    edge = True
    for index in range(len(original) - 1, -1, -1):
        kind = original[index]
        if kind in ("B", "S"):
            edge = True
            found[index] = base
        elif kind in ("WS", "PDI") or kind in _ISOLATES or kind in _REMOVED:
            if edge:
                found[index] = base
        else:
            edge = False
