"""Numbers as English words, the way they are read aloud in technical talk.

num2words makes the plain numbers. Digits after a point, pairs, years and fractions are made here: it drops trailing
zeros, and has no pairs. Its commas and its 'and' after hundreds are taken out.
"""

from __future__ import annotations

from functools import lru_cache

_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


@lru_cache(maxsize=4096)
def cardinal(number: int) -> str:
    """`1234` is 'one thousand two hundred thirty-four'. From 10**15 on, digit by digit."""
    return digits(str(number)) if number >= 10**15 else _plainly(number, "cardinal")


@lru_cache(maxsize=1024)
def ordinal(number: int) -> str:
    """`99` is 'ninety-ninth'."""
    return cardinal(number) if number >= 10**15 else _plainly(number, "ordinal")


def _plainly(number: int, kind: str) -> str:
    from num2words import num2words  # every language of it is read on import

    return str(num2words(number, to=kind)).replace(",", "").replace(" and ", " ")


def digits(text: str) -> str:
    """`940` is 'nine four zero'."""
    return " ".join(_DIGITS[int(sign)] for sign in text)


def decimal(text: str) -> str:
    """`1,234.50` is 'one thousand two hundred thirty-four point five zero': no digit is lost."""
    whole, _, part = text.replace(",", "").partition(".")
    head = cardinal(int(whole or "0"))
    return f"{head} point {digits(part)}" if part else head


def paired(number: int) -> str:
    """Line counts and model sizes: 1440 'fourteen forty', 1080 'ten eighty', 720 'seven twenty', 3200
    'thirty-two hundred', 4000 'four thousand'. Beyond 3 or 4 digits it is a plain number."""
    high, low = divmod(number, 100)
    if not 100 <= number <= 9999 or (high % 10 == 0 and low < 10):
        return cardinal(number)
    if low == 0:
        return f"{cardinal(high)} hundred"
    return f"{cardinal(high)} {'oh ' if low < 10 else ''}{cardinal(low)}"


def run(text: str) -> str:
    """Digits in a name or an address: with a zero in front one by one, three or four of them in pairs."""
    if text.startswith("0"):
        return digits(text)
    return paired(int(text)) if len(text) in (3, 4) else cardinal(int(text))


def plural(said: str) -> str:
    """The last word in the plural: 'nineteen ninety' is 'nineteen nineties'."""
    if said.endswith("y"):
        return f"{said[:-1]}ies"
    return f"{said}es" if said.endswith("x") else f"{said}s"


def fraction(top: int, bottom: int) -> str:
    """`3/4` is 'three quarters', `1/60` is 'one sixtieth'."""
    one = {2: "half", 4: "quarter"}.get(bottom) or ordinal(bottom)
    several = "halves" if bottom == 2 else f"{one}s"
    if top == 1 and bottom in (100, 1000, 1_000_000):
        return one
    return f"{cardinal(top)} {one if top == 1 else several}"
