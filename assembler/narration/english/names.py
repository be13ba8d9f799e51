"""Initialisms, model names and addresses: which letters are named one by one, and which are read as words.

In what is said a capital letter standing alone is read by its name.
"""

from __future__ import annotations

import re

from assembler.narration.english.numbers import cardinal, run
from assembler.narration.english.words import COMMON, INITIALISMS, listed, sounds_like_a_word

Said = tuple[str, str]
"""What is said, and '' or why a person should look."""

LETTERS_OR_WORD = "letters or a word?"
_ENDINGS = listed("com org net edu gov info io dev app tv uk eu de example test local")
_FILES = listed(
    "mp4 mkv mov webm avi wav flac mp3 ogg png jpg jpeg gif tif tiff exr txt md csv json yaml yml toml xml html pdf py "
    "js ts srt vtt ass zip log ini cfg exe bin icc cube ttf otf"
)
_SPOKEN_FILES = {"jpeg": "jay peg", "json": "jason"} | {
    word: word for word in listed("gif zip log bin cube info com org net dev app gov yaml toml example test local")
}
_SOUNDS = listed("hm hmm hmmm mm mmm shh psst brr nth")
_SEPARATORS = {".": "dot", "/": "slash", "-": "dash", "_": "underscore", ":": "colon", "@": "at", "?": "question mark",
               "=": "equals", "&": "and", "#": "hash", "%": "percent", "~": "tilde", "+": "plus"}  # fmt: skip
_DOMAIN = re.compile(r"(?:[A-Za-z][A-Za-z0-9+.-]*://)?((?:[A-Za-z0-9-]+\.)+([A-Za-z]{2,7})(?:[:/]\S*)?)")
_MAIL = re.compile(r"[\w.+-]+@[\w-]+(?:\.[\w-]+)+")
_FILE = re.compile(r"([\w.-]*[\w-])\.([A-Za-z0-9]{2,5})")


def letters(text: str) -> str:
    """Each letter by its name."""
    return " ".join(text.upper())


def address(core: str) -> str | None:
    """A web address, a mail address or a file name; None for anything else."""
    if _MAIL.fullmatch(core):
        return _spelt(core)
    if (found := _DOMAIN.fullmatch(core)) and ("://" in core or found[2].casefold() in _ENDINGS):
        return _spelt(found[1].rstrip("/"))
    if core[0] == "." and core[1:].casefold() in _FILES | _ENDINGS:
        return f"dot {_label(core[1:]) if core.isalpha() else _spelt(core[1:])}"
    if (found := _FILE.fullmatch(core)) and found[2].casefold() in _FILES and not core[0].isupper():
        return _spelt(core, silent="_-")
    if (found := _FILE.fullmatch(core)) and found[2] in _FILES and len(found[1]) > 1:
        return _spelt(core, silent="_-")
    return None


def handle(core: str) -> str:
    """`@harbour_lights` without its sign: signs between words are silent."""
    return _spelt(core, silent="_-.")


def _spelt(text: str, silent: str = "") -> str:
    said = []
    for part in re.findall(r"[A-Za-z]+|\d+|[^A-Za-z\d]", text):
        if part.isdecimal():
            said.append(run(part))
        elif part in _SEPARATORS:
            said.append("" if part in silent else _SEPARATORS[part])
        elif part.isalpha():
            said.append(_label(part))
    return " ".join(word for word in said if word)


def _label(part: str) -> str:
    """A word of an address: what has no vowel, or is a short file ending, letter by letter."""
    low = part.casefold()
    if low in _SPOKEN_FILES:
        return _SPOKEN_FILES[low]
    if low in _FILES or not re.search(r"[aeiouy]", low):
        return letters(part)
    return low


def initials(text: str) -> Said:
    """Capitals (with `s` for more than one of them): a known reading, a word, or letter by letter."""
    base, more = (text[:-1], "s") if len(text) > 2 and text[-1] == "s" and text[:-1].isupper() else (text, "")
    if base in INITIALISMS:
        return _several(INITIALISMS[base], more), ""
    if not more and base.casefold() in COMMON:
        return base.casefold(), ""
    if len(base) >= 4 and sounds_like_a_word(base):
        return _several(base.casefold(), more), LETTERS_OR_WORD
    return _several(letters(base), more), ""


def _several(said: str, more: str) -> str:
    if not more:
        return said
    last = said.rsplit(" ", 1)[-1]
    return said + ("'s" if len(last) == 1 else "s")


def mixed(text: str) -> Said | None:
    """Letters of both cases that are no plain word: `YCbCr`, `sRGB`, `kW`; None for a plain word."""
    if text in INITIALISMS:
        return INITIALISMS[text], ""
    if re.fullmatch(r"[a-z][A-Z]{2,}", text):
        return letters(text), ""
    if re.fullmatch(r"[A-Z]{2,}[a-z]?|[A-Z]{2,}s", text):
        return initials(text)
    if re.fullmatch(r"(?:[A-Z][a-z]+){2,}|[a-z]+(?:[A-Z][a-z]+)+", text):
        parts = re.findall(r"[A-Z]?[a-z]+", text)
        return " ".join(part.casefold() for part in parts), ""
    if re.fullmatch(r"[A-Z]?[a-z]+", text):
        readable = re.search(r"[aeiouyAEIOUY]", text) or len(text) == 1 or text.casefold() in _SOUNDS
        return None if readable else (letters(text), LETTERS_OR_WORD)
    if re.fullmatch(r"[A-Za-z]+", text):
        parts = re.findall(r"[A-Z]{2,}(?![a-z])|[A-Z]?[a-z]+|[A-Z]", text)
        return " ".join(initials(part)[0] if part.isupper() else part.casefold() for part in parts), LETTERS_OR_WORD
    return None


def model(core: str) -> Said | None:
    """Letters and digits run together: `GX12`, `X3D`, `H.264`, `RX-780`; None for anything else."""
    if found := re.fullmatch(r"([A-Z]{1,5})([.-]?)(\d{1,5})([A-Z][A-Za-z]{0,2}|[a-z]{1,2})?", core):
        head = letters(found[1]) if len(found[1]) == 1 else initials(found[1])[0]
        tail = letters(found[4]) if found[4] else ""
        return f"{head} {run(found[3])} {tail}".rstrip(), ""
    if found := re.fullmatch(r"([a-z])(\d{1,5})", core):
        return f"{letters(found[1])} {run(found[2])}", ""
    if found := re.fullmatch(r"(\d{1,2})([A-Z])", core):
        return f"{cardinal(int(found[1]))} {found[2]}", ""
    if re.fullmatch(r"[A-Za-z]*\d[A-Za-z\d]*", core) and re.search(r"[A-Za-z]", core):
        said = []
        for part in re.findall(r"\d+|[A-Z]{1,}(?![a-z])|[A-Z]?[a-z]+|[A-Z]", core):
            if part.isdecimal():
                said.append(run(part))
            elif part.isupper() or len(part) == 1:
                said.append(letters(part) if len(part) == 1 else initials(part)[0])
            else:
                said.append(part.casefold() if re.search(r"[aeiouy]", part, re.IGNORECASE) else letters(part))
        return " ".join(said), "read in parts"
    return None
