"""The keys of `captions`: whether they are seen, and the reading limits they keep."""

from __future__ import annotations

from assembler.storyboard.shapes import Choice, Either, Flag, Key, Keys, Number
from assembler.storyboard.written import INSTANT

_PROFILE = Choice(noun="online, broadcast or slow", words=(
    ("online", "for viewers at a screen of their own"),
    ("broadcast", "for television"),
    ("slow", "more time to read each caption")))  # fmt: skip

_AS_PROFILE = "the profile's"
_CPS = Number(noun="a number of characters a second from 4 to 60", least=4, most=60)

_LIMITS = Keys(
    name="limits",
    noun="keys such as {profile: online, most: 18}",
    about="A profile's reading limits, with numbers of your own in their place.",
    keys=(
        Key(name="profile", shape=_PROFILE, about="Whose numbers hold where none of your own is given.",
            examples=("online",), default="online", gives="online"),
        Key(name="width", shape=Number(noun="a whole number from 10 to 100", whole=True, least=10, most=100),
            about="The most characters in a caption line.", examples=(37,), default=_AS_PROFILE),
        Key(name="lines", shape=Number(noun="a whole number from 1 to 4", whole=True, least=1, most=4),
            about="The most lines in a caption.", examples=(2,), default=_AS_PROFILE),
        Key(name="wanted", shape=_CPS, about="Characters a second that are comfortable to read; the layout aims at it.",
            examples=(15,), default=_AS_PROFILE),
        Key(name="most", shape=_CPS, about="Characters a second above which a caption cannot be read in time.",
            examples=(18,), default=_AS_PROFILE),
        Key(name="shortest", shape=INSTANT, about="The least time a caption stays.", examples=("1 s",),
            default=_AS_PROFILE),
        Key(name="longest", shape=INSTANT, about="The most time a caption stays.", examples=("6 s",),
            default=_AS_PROFILE),
        Key(name="gap", shape=INSTANT, about="The least time between two captions.", examples=("2 f",),
            default=_AS_PROFILE),
        Key(name="join", shape=INSTANT, about="A pause between captions shorter than this is closed to `gap`.",
            examples=("0.5 s",), default=_AS_PROFILE),
        Key(name="linger", shape=INSTANT, about="How long a caption stays after its last word when nothing hurries it.",
            examples=("0.4 s",), default=_AS_PROFILE),
        Key(name="hang", shape=INSTANT, about="The longest a caption may stay after its last word, to be read.",
            examples=("1.5 s",), default=_AS_PROFILE),
        Key(name="snap", shape=INSTANT, about="A start or end this near to a cut moves onto it.", examples=("0.2 s",),
            default=_AS_PROFILE),
    ),
)  # fmt: skip

CAPTIONS = Keys(
    name="captions",
    noun="keys such as {burn: true, limits: online}",
    about="Captions of the narration.",
    keys=(
        Key(name="burn", shape=Flag(noun="true or false"), about="Whether drafts show the captions in the picture.",
            examples=(True,), default="true", gives=True),
        Key(name="soft", shape=Flag(noun="true or false"),
            about="Whether the video file has the captions as a track, which players can show or hide.",
            examples=(True,), default="true where the captions are not burnt in"),
        Key(name="limits",
            shape=Either(noun="online, broadcast, slow, or keys such as {profile: online, most: 18}",
                         shapes=(_PROFILE, _LIMITS)),
            about="How long captions stand and how much text they hold.",
            examples=("online", {"profile": "online", "most": 18}), default="online", gives="online"),
    ),
)  # fmt: skip
