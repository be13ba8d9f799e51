"""What a reader takes for one character, and where a line may be broken.

Grapheme clusters follow the rules of UAX #29 (GB3 to GB13), with properties derived from the
character data that Python ships; the few that cannot be derived are listed here. Line breaks are
simpler than UAX #14: at spaces, after hyphens and dashes inside a word, and between CJK characters.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache

# Properties that the general category does not give. Source: UAX #29, table 2, and UCD
# PropList Other_Grapheme_Extend.
_EXTEND = frozenset(
    [0x200C, 0xFF9E, 0xFF9F, 0x09BE, 0x09D7, 0x0B3E, 0x0B57, 0x0BBE, 0x0BD7, 0x0CC2, 0x0CD5, 0x0CD6,
     0x0D3E, 0x0D57, 0x0DCF, 0x0DDF, 0x1B35, 0x302E, 0x302F, 0x1D165, *range(0x1D16E, 0x1D173),
     *range(0x1F3FB, 0x1F400), *range(0xE0020, 0xE0080)]
)  # fmt: skip
_NOT_SPACING = frozenset(
    [0x102B, 0x102C, 0x1038, *range(0x1062, 0x1065), *range(0x1067, 0x106E), 0x1083, *range(0x1087, 0x108D),
     0x108F, *range(0x109A, 0x109D), 0x1A61, 0x1A63, 0x1A64, 0xAA7B, 0xAA7D, 0x11720, 0x11721]
)  # fmt: skip
_PREPEND = frozenset(
    [*range(0x0600, 0x0606), 0x06DD, 0x070F, 0x0890, 0x0891, 0x08E2, 0x0D4E, 0x110BD, 0x110CD, 0x111C2, 0x111C3,
     0x1193F, 0x11941, 0x11A3A, *range(0x11A84, 0x11A8A), 0x11D46, 0x11F02]
)  # fmt: skip
_PICTOGRAPHS = (
    (0x00A9, 0x00A9), (0x00AE, 0x00AE), (0x203C, 0x203C), (0x2049, 0x2049), (0x2122, 0x2122), (0x2139, 0x2139),
    (0x2194, 0x21AA), (0x231A, 0x23FF), (0x24C2, 0x24C2), (0x25AA, 0x25FE), (0x2600, 0x26FF), (0x2702, 0x27BF),
    (0x2934, 0x2935), (0x2B05, 0x2B55), (0x3030, 0x3030), (0x303D, 0x303D), (0x3297, 0x3297), (0x3299, 0x3299),
    (0x1F000, 0x1F1E5), (0x1F200, 0x1F3FA), (0x1F400, 0x1FAFF),
)  # fmt: skip
# Scripts whose consonants join over a virama into one cluster (GB9c).
_CONJUNCT_BLOCKS = ((0x0900, 0x09FF), (0x0A80, 0x0B7F), (0x0C00, 0x0C7F), (0x0D00, 0x0D7F),
                    (0x1000, 0x109F), (0x1780, 0x17FF), (0x1B00, 0x1B7F))  # fmt: skip
_CJK = ((0x2E80, 0x2FDF), (0x3003, 0x3007), (0x3021, 0x30FF), (0x3105, 0x312F), (0x31A0, 0x31FF),
        (0x3400, 0x4DBF), (0x4E00, 0x9FFF), (0xF900, 0xFAFF), (0xFF66, 0xFF9F), (0x20000, 0x3FFFD))  # fmt: skip
_CJK_PUNCTUATION = frozenset("、。，．：；！？・「」『』（）〔〕［］｛｝〈〉《》【】〖〗…‥ー〜゛゜")
_NOT_AT_END = frozenset("「『（〔［｛〈《【〖([{“‘")
_NOT_AT_START = frozenset(
    "、。，．：；！？・」』）〕］｝〉》】〗…‥ー〜゛゜ぁぃぅぇぉっゃゅょゎァィゥェォッャュョヮヵヶ々,.:;!?)]}”’"
)
_HYPHENS = frozenset("-\u2010\u2012\u2013\u2014")
_NO_BREAK_SPACES = frozenset("\u00a0\u2007\u202f")


def _within(code_point: int, ranges: tuple[tuple[int, int], ...]) -> bool:
    return any(first <= code_point <= last for first, last in ranges)


@lru_cache(maxsize=4096)
def _kind(character: str) -> str:
    """The Grapheme_Cluster_Break class of a character, as a short name."""
    code_point = ord(character)
    category = unicodedata.category(character)
    if character in "\r\n":
        return "CR" if character == "\r" else "LF"
    if code_point == 0x200D:
        return "ZWJ"
    if code_point in _EXTEND or category in ("Mn", "Me"):
        return "Extend"
    if code_point in _PREPEND:
        return "Prepend"
    if category in ("Cc", "Cf", "Cs", "Zl", "Zp"):
        return "Control"
    if (category == "Mc" and code_point not in _NOT_SPACING) or code_point in (0x0E33, 0x0EB3):
        return "Spacing"
    if 0x1F1E6 <= code_point <= 0x1F1FF:
        return "Flag"
    if 0x1100 <= code_point <= 0x115F or 0xA960 <= code_point <= 0xA97C:
        return "L"
    if 0x1160 <= code_point <= 0x11A7 or 0xD7B0 <= code_point <= 0xD7C6:
        return "V"
    if 0x11A8 <= code_point <= 0x11FF or 0xD7CB <= code_point <= 0xD7FB:
        return "T"
    if 0xAC00 <= code_point <= 0xD7A3:
        return "LVT" if (code_point - 0xAC00) % 28 else "LV"
    if _within(code_point, _PICTOGRAPHS):
        return "Pictograph"
    return "Other"


def clusters(text: str) -> tuple[str, ...]:
    """The text cut into extended grapheme clusters; joined again they are the text."""
    found: list[str] = []
    start = 0
    for index in range(1, len(text)):
        if _breaks(text, start, index):
            found.append(text[start:index])
            start = index
    if text:
        found.append(text[start:])
    return tuple(found)


def _breaks(text: str, start: int, index: int) -> bool:
    """Whether a cluster that began at `start` ends before `index`."""
    before, after = _kind(text[index - 1]), _kind(text[index])
    if before in ("CR", "LF", "Control") or after in ("CR", "LF", "Control"):
        return not (before == "CR" and after == "LF")  # GB3 to GB5
    if after in ("Extend", "ZWJ", "Spacing") or before == "Prepend":  # GB9, GB9a, GB9b
        return False
    if (before, after) in _HANGUL:  # GB6 to GB8
        return False
    if before == "ZWJ" and after == "Pictograph" and _kind(text[start]) == "Pictograph":  # GB11
        return not all(_kind(c) in ("Pictograph", "Extend", "ZWJ") for c in text[start:index])
    if before == after == "Flag":  # GB12, GB13
        flags = 0
        while flags < index - start and _kind(text[index - 1 - flags]) == "Flag":
            flags += 1
        return flags % 2 == 0
    return not (before in ("Extend", "ZWJ") and _joins_conjunct(text, start, index))


_HANGUL = frozenset(
    [("L", "L"), ("L", "V"), ("L", "LV"), ("L", "LVT"), ("LV", "V"), ("LV", "T"), ("V", "V"), ("V", "T"),
     ("LVT", "T"), ("T", "T")]
)  # fmt: skip


def _joins_conjunct(text: str, start: int, index: int) -> bool:
    """Consonant, marks with a virama among them, consonant of the same script (GB9c)."""
    block = next((b for b in _CONJUNCT_BLOCKS if b[0] <= ord(text[index]) <= b[1]), None)
    if block is None or unicodedata.category(text[index]) != "Lo":
        return False
    virama = False
    for position in range(index - 1, start - 1, -1):
        character = text[position]
        if _kind(character) in ("Extend", "ZWJ"):
            # 103A is the Myanmar killer: of the viramas' class, but it joins nothing.
            virama = virama or (unicodedata.combining(character) == 9 and character != "\u103a")
        else:
            return virama and unicodedata.category(character) == "Lo" and block[0] <= ord(character) <= block[1]
    return False


def is_space(cluster: str) -> bool:
    """White space at which a line may be broken."""
    return all((c.isspace() or c == "\u200b") and c not in _NO_BREAK_SPACES for c in cluster)


def is_blank(cluster: str) -> bool:
    """Nothing to draw: white space, controls, joiners and other default-ignorable characters."""
    return all(c.isspace() or is_ignorable(c) for c in cluster)


def is_ignorable(character: str) -> bool:
    """A character that draws nothing by itself (the common Default_Ignorable_Code_Point ones)."""
    code_point = ord(character)
    return (
        unicodedata.category(character) in ("Cc", "Cf")
        or code_point in (0x034F, 0x115F, 0x1160, 0x17B4, 0x17B5, 0x3164, 0xFFA0)
        or 0x180B <= code_point <= 0x180F
        or 0xFE00 <= code_point <= 0xFE0F
        or 0xE0000 <= code_point <= 0xE0FFF
    )


def pieces(text: str) -> tuple[str, ...]:
    """The text cut where a line may be broken; each piece keeps the white space that follows it."""
    parts = clusters(text)
    found: list[str] = []
    current = ""
    for number, cluster in enumerate(parts):
        current += cluster
        following = parts[number + 1] if number + 1 < len(parts) else ""
        if following and _may_break(parts[number - 1] if number else "", cluster, following):
            found.append(current)
            current = ""
    if current:
        found.append(current)
    return tuple(found)


def _may_break(earlier: str, before: str, after: str) -> bool:
    if is_space(after):
        return False
    if is_space(before):
        return True
    if before[0] in _HYPHENS:
        # Not before a figure (a minus sign or a range), nor after a hyphen that opens a word.
        return bool(earlier) and not is_space(earlier) and after[0].isalpha()
    if before[0] in _NOT_AT_END or after[0] in _NOT_AT_START:
        return False
    return _is_cjk(before) or _is_cjk(after)


def _is_cjk(cluster: str) -> bool:
    return _within(ord(cluster[0]), _CJK) or cluster[0] in _CJK_PUNCTUATION
