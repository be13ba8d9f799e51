"""Words of technical English that are not read as they are spelt: short forms, initialisms, months, signs.

In what is said a capital letter standing alone is read by its name.
"""

from __future__ import annotations

import re


def listed(words: str) -> frozenset[str]:
    """The words of a text as a set."""
    return frozenset(words.split())


SHORT = {
    "e.g": "for example",
    "eg": "for example",
    "i.e": "that is",
    "ie": "that is",
    "vs": "versus",
    "w/o": "without",
    "w/": "with",
    "aka": "A K A",
    "a.k.a": "A K A",
    "wi-fi": "wi-fi",
    "hi-fi": "hi-fi",
    "sci-fi": "sci-fi",
    "c++": "C plus plus",
    "ctrl": "control",
    "mk": "mark",
    "esc": "escape",
}
"""Read so with or without a full stop."""

STOPPED = {
    "etc": "et cetera",
    "approx": "approximately",
    "max": "maximum",
    "min": "minimum",
    "avg": "average",
    "incl": "including",
    "excl": "excluding",
    "resp": "respectively",
    "fig": "figure",
    "figs": "figures",
    "ca": "about",
    "no": "number",
    "nos": "numbers",
    "vol": "volume",
    "ch": "chapter",
    "ver": "version",
    "dept": "department",
    "cf": "compare",
    "p": "page",
    "pp": "pages",
    "nr": "number",
    "sect": "section",
    "mr": "mister",
    "mrs": "missus",
    "dr": "doctor",
}
"""Read so with a full stop behind them; those of NUMBERED only before a number."""
NUMBERED = {"fig", "figs", "no", "nos", "vol", "ch", "ca", "ver", "min", "max", "p", "pp", "nr", "sect"}
BARE = {"etc", "approx", "avg", "incl", "excl"}
"""Of those above, the ones that mean nothing else without it."""

SIGNS = {
    "&": "and",
    "+": "plus",
    "=": "equals",
    "×": "times",
    "÷": "divided by",
    "→": "to",
    "≈": "about",
    "~": "about",
    "±": "plus or minus",
    "<": "less than",
    ">": "more than",
    "≥": "at least",
    "≤": "at most",
    "≠": "is not",
    "−": "minus",
    "%": "percent",
    "№": "number",
    "#": "number",
    "@": "at",
    "°": "degrees",
    "€": "euros",
    "$": "dollars",
    "£": "pounds",
    "¥": "yen",
}

GREEK = {
    "α": "alpha", "β": "beta", "γ": "gamma", "Γ": "gamma", "δ": "delta", "Δ": "delta", "ε": "epsilon", "θ": "theta",
    "λ": "lambda", "μ": "mu", "π": "pi", "ρ": "rho", "σ": "sigma", "Σ": "sum", "τ": "tau", "φ": "phi", "ω": "omega",
}  # fmt: skip
"""Letters that stand for a quantity, alone or before one other letter."""

SPELT_SIGNS = {"+/-": "±", ">=": "≥", "<=": "≤", "->": "→", "=>": "→", "!=": "≠"}
"""Signs written with two or three others."""

DESCRIBED = listed(
    "adapter battery budget bus buffer cable cap card cards charger chargers clip clips crop delay disk disks display "
    "displays drive drives edge fade fan gap grid hitch hitches interval jack kit lens limit loop loops mode modes "
    "module modules monitor monitors panel panels pause pauses penalty process radius rail recording recordings run "
    "runs screen screens shutter spike spikes ssd step stick sticks stretch supply target timer tone tv version window"
)
"""Things that figures with units stand before as adjectives: an `8 GB card` is an eight gigabyte card."""

INITIALISMS = {
    "ΔE": "delta E",
    "PhD": "P H D",
    "OLED": "O led",
    "QLED": "Q led",
    "AMOLED": "amoled",
    "JPEG": "jay peg",
    "MPEG": "em peg",
    "RAM": "ram",
    "ROM": "rom",
    "VRAM": "V ram",
    "DRAM": "D ram",
    "SRAM": "S ram",
    "SDRAM": "S D ram",
    "RAID": "raid",
    "LUT": "lut",
    "LUFS": "lufs",
    "BIOS": "bios",
    "GIF": "gif",
    "LAN": "lan",
    "SATA": "sata",
    "NAND": "nand",
    "DIMM": "dim",
    "CMOS": "sea moss",
    "LIDAR": "lidar",
    "ASCII": "ask ee",
    "JSON": "jason",
    "YAML": "yaml",
    "TOML": "toml",
    "SIM": "sim",
    "PIN": "pin",
    "HUD": "hud",
    "MIP": "mip",
    "ZIP": "zip",
    "WASD": "W A S D",
    "UEFI": "U E F I",
    "NVMe": "N V M E",
    "YCbCr": "Y C B C R",
    "WebP": "web P",
    "HiDPI": "high D P I",
    "VSync": "V sync",
    "EXIF": "exif",
    "HEIF": "heef",
    "USD": "U S dollars",
    "EUR": "euros",
    "GBP": "pounds",
    "JPY": "yen",
    "AVIF": "A V I F",
    "AUC": "A U C",
    "ITU": "I T U",
    "IEC": "I E C",
    "FAQ": "F A Q",
    "SIMD": "sim D",
    "HDMI": "H D M I",
    "PAL": "pal",
    "SoC": "S O C",
    "SoCs": "S O C's",
}

# Written in capitals for weight, not as initials.
COMMON = listed(
    "a able about above after again all almost also always an and another any are around as at away back bad be "
    "because been before being below best better between both but by came can cannot could day did different do does "
    "done down each either else end even ever every exactly far fast faster few find first for four from full get go "
    "good got great had half hard has have he her here high him his how if in into is it its just keep know large "
    "last later left less let like little long look lot low made make many may me more most much must my near need "
    "never new next no none nor not note nothing now of off old on once one only open or other our out over own part "
    "please put quite read real really right run same saw say see seen she should slow small so some start stay still "
    "stop such take test than that the their them then there these they thing this those three through time to "
    "together too top try two under until up upon use used very wait want warning was way we well went were what when "
    "where which while who why will with without won word work world would yes yet you your"
)

MONTHS = (
    *("january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november"),
    "december",
)
MONTH_OF = {name: name for name in MONTHS} | {name[:3]: name for name in MONTHS} | {"sept": "september"}

YEAR_COMES = listed(
    "in since until till by before after during around circa early late mid year spring summer autumn fall winter "
    "from of to"
)
"""Words before a year."""

NUMBERED_THINGS = listed(
    "part chapter act volume book episode scene stage level season phase mark section appendix round class type world "
    "war version mk vol"
)
"""Words before a Roman numeral, even one of a single letter."""

_VOWELS = "AEIOUY"
_STARTS = listed(
    "B BL BR C CH CL CR D DR F FL FR G GL GR H J K KL KR L M N P PH PL PR QU R S SC SCR SH SK SL SM SN SP SPL SPR ST "
    "STR SW T TH TR TW V W WH Y Z"
)
_ENDS = listed(
    "B C CK CT D F FT G H K L LD LF LK LL LM LP LT M MP N NC ND NG NK NS NT P PT R RB RC RD RF RG RK RL RM RN RP RT S "
    "SH SK SP SS ST T TH V W X Z"
)


def sounds_like_a_word(capitals: str) -> bool:
    """Whether an English mouth would try to say initials as a word."""
    runs = re.findall(rf"[{_VOWELS}]+|[^{_VOWELS}]+", capitals)
    vowels = [run for run in runs if run[0] in _VOWELS]
    others = [run for run in runs if run[0] not in _VOWELS]
    if not vowels or not others or any(len(run) > 2 or run in ("AA", "II", "UU", "YY") for run in vowels):
        return False
    first = runs[0][0] in _VOWELS or runs[0] in _STARTS
    last = runs[-1][0] in _VOWELS or runs[-1] in _ENDS
    return first and last and all(len(run) <= 3 for run in others)
