"""`check --spoken`: how every line of a storyboard will be said, with what a person should look at."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass

from assembler.cli.output import counted
from assembler.narration.spoken import SpokenToken, has_rules, spoken_form
from assembler.storyboard.model import Line, Storyboard

_PLAIN_KEY = re.compile(r"[A-Za-z](?:[\w -]*\w)?")
_KEYWORDS = {"yes", "no", "on", "off", "true", "false", "null", "y", "n"}


@dataclass(frozen=True, slots=True)
class SaidLine:
    """A line and what is said for it. `number` counts from 1 within its segment."""

    segment: str
    number: int
    line: Line
    tokens: tuple[SpokenToken, ...]


def said_lines(storyboard: Storyboard) -> tuple[SaidLine, ...]:
    """Every line of a storyboard with its spoken form."""
    return tuple(
        SaidLine(segment.id, number, line, spoken_form(
            line.text, storyboard.lexicon, spoken=line.spoken, language=storyboard.language))
        for segment in storyboard.segments
        for number, line in enumerate(segment.say, start=1)
    )  # fmt: skip


def spoken_data(storyboard: Storyboard) -> dict[str, object]:
    """What `--json` holds."""
    lines = said_lines(storyboard)
    return {
        "language": storyboard.language,
        "rules": has_rules(storyboard.language),
        "lines": [
            {
                "segment": said.segment,
                "line": said.number,
                "text": said.line.text,
                "spoken": _sentence(said.tokens, mark=False),
                "by_hand": said.line.spoken is not None,
                "words": [
                    {"written": token.display, "start": token.display_start, "end": token.display_end,
                     "words": list(token.words), "spoken": token.said, "doubtful": token.doubtful}
                    for token in said.tokens
                ],
            }
            for said in lines
        ],
        "doubtful": sum(bool(token.doubtful) for said in lines for token in said.tokens),
        "lexicon_unused": _unused(storyboard, lines),
    }  # fmt: skip


def spoken_text(storyboard: Storyboard, name: str) -> str:
    """A block for each line: where it stands, how it is said, and the words that are not said as written."""
    lines = said_lines(storyboard)
    blocks = ["\n".join(_block(said)) for said in lines]
    doubtful = {_core(token): token for said in lines for token in said.tokens if token.doubtful}
    if not has_rules(storyboard.language):
        blocks.append(
            f"there are no rules for the language '{storyboard.language}': words are said as they are written; use "
            "lexicon: and spoken: for numbers and short forms"
        )
    if doubtful:
        entries = "\n".join(f"  {_yaml_key(core)}: {token.voiced or '...'}" for core, token in doubtful.items())
        blocks.append(f"to settle what is marked ?, put the right words into the storyboard:\nlexicon:\n{entries}")
    if unused := _unused(storyboard, lines):
        blocks.append(f"no line uses these entries of the lexicon: {', '.join(unused)}")
    count = sum(bool(token.doubtful) for said in lines for token in said.tokens)
    words = sum(len(token.words) for said in lines for token in said.tokens)
    blocks.append(f"{name}: {counted(len(lines), 'line')}, {counted(words, 'spoken word')}, {count} doubtful")
    return "\n\n".join(blocks)


def _block(said: SaidLine) -> Iterator[str]:
    place = said.line.at("spoken" if said.line.spoken is not None else "text")
    at = f"  ({place})" if place else ""
    yield f"{said.segment}, line {said.number}{', as its spoken: says' if said.line.spoken is not None else ''}{at}"
    yield f"  {_sentence(said.tokens, mark=True)}"
    rows = [token for token in said.tokens if token.doubtful or _differs(token)]
    width = max((len(_core(token)) for token in rows), default=0)
    for token in rows:
        why = f"   {token.doubtful}" if token.doubtful else ""
        mark = "?" if token.doubtful else " "
        yield f"  {mark} {_core(token):{width}} -> {token.voiced or '(nothing)'}{why}"


def _differs(token: SpokenToken) -> bool:
    """Whether a word is said otherwise than a reader would expect from its letters."""
    plain = re.sub(r"[^\w'’ -]", "", _core(token)).replace("’", "'").replace("-", " ").casefold()
    return token.said.replace("-", " ") != plain


def _core(token: SpokenToken) -> str:
    """The written word without the marks around it, as a lexicon would hold it."""
    return token.display.strip(" \"'“”‘’()[],;:!?…—–.") or token.display


def _sentence(tokens: tuple[SpokenToken, ...], *, mark: bool) -> str:
    parts = []
    for token in tokens:
        said = (token.voiced if mark else token.said) + ("?" if mark and token.doubtful else "")
        parts.append(said + "".join(sign for sign in token.trailing if sign in ".,;:!?…"))
        if any(sign in "—–" for sign in token.trailing):
            parts.append("—")
    return " ".join(part for part in parts if part)


def _yaml_key(core: str) -> str:
    if _PLAIN_KEY.fullmatch(core) and core.casefold() not in _KEYWORDS:
        return core
    return json.dumps(core, ensure_ascii=False)


def _unused(storyboard: Storyboard, lines: tuple[SaidLine, ...]) -> list[str]:
    """Entries of the lexicon without which every line would be said the same."""
    found = []
    for written in storyboard.lexicon:
        words = written.casefold().split()
        if not any(all(word in said.line.text.casefold() for word in words) for said in lines):
            found.append(written)
    return found
