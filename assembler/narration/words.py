"""A line's written words: what is shown in captions and timed, one by one."""

from __future__ import annotations


def split_words(text: str) -> tuple[str, ...]:
    """Split on white space; punctuation stays with its word.

    A piece without a letter or digit (a lone dash, `%`, `&`) cannot be timed by itself, so it is joined to
    the word before, or to the one after where there is none before. A text with neither letter nor digit
    is one word; an empty one has none.
    """
    words: list[str] = []
    waiting = ""
    for piece in text.split():
        if any(sign.isalnum() for sign in piece):
            words.append(f"{waiting} {piece}" if waiting else piece)
            waiting = ""
        elif words:
            words[-1] += f" {piece}"
        else:
            waiting = f"{waiting} {piece}" if waiting else piece
    if waiting:
        words.append(waiting)
    return tuple(words)
