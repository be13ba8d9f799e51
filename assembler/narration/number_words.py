"""Numbers as English words, the way they are read aloud in technical talk."""

from __future__ import annotations

_ONES = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    *("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
)
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_SCALES = ((10**9, "billion"), (10**6, "million"), (1000, "thousand"))
_ORDINALS = {
    "one": "first",
    "two": "second",
    "three": "third",
    "five": "fifth",
    "eight": "eighth",
    "nine": "ninth",
    "twelve": "twelfth",
}


def cardinal(number: int) -> str:
    """`1234` is 'one thousand two hundred thirty-four'. From 10**12 on, digit by digit."""
    if number >= 10**12:
        return digits(str(number))
    said: list[str] = []
    for size, name in _SCALES:
        if number >= size:
            said.append(f"{cardinal(number // size)} {name}")
            number %= size
    if number >= 100:
        said.append(f"{_ONES[number // 100]} hundred")
        number %= 100
    if number >= 20:
        tens, ones = divmod(number, 10)
        said.append(_TENS[tens] + (f"-{_ONES[ones]}" if ones else ""))
    elif number or not said:
        said.append(_ONES[number])
    return " ".join(said)


def digits(text: str) -> str:
    """`940` is 'nine four zero'."""
    return " ".join(_ONES[int(sign)] for sign in text)


def decimal(text: str) -> str:
    """`1,234.50` is 'one thousand two hundred thirty-four point five zero': no digit is lost."""
    whole, _, part = text.replace(",", "").partition(".")
    head = cardinal(int(whole or "0"))
    return f"{head} point {digits(part)}" if part else head


def ordinal(number: int) -> str:
    """`99` is 'ninety-ninth'."""
    head, gap, last = _cut_last(cardinal(number))
    if last in _ORDINALS:
        return head + gap + _ORDINALS[last]
    return head + gap + (f"{last[:-1]}ieth" if last.endswith("y") else f"{last}th")


def paired(number: int) -> str:
    """Line counts and model sizes: 1440 'fourteen forty', 1080 'ten eighty', 720 'seven twenty', 3200
    'thirty-two hundred', 4000 'four thousand'. Beyond 3 or 4 digits it is a plain number."""
    high, low = divmod(number, 100)
    if not 100 <= number <= 9999 or (high % 10 == 0 and low < 10):
        return cardinal(number)
    if low == 0:
        return f"{cardinal(high)} hundred"
    return f"{cardinal(high)} {'oh ' if low < 10 else ''}{cardinal(low)}"


def _cut_last(said: str) -> tuple[str, str, str]:
    at = max(said.rfind(" "), said.rfind("-"))
    return (said[:at], said[at], said[at + 1 :]) if at >= 0 else ("", "", said)
