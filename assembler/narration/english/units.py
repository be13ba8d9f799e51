"""Units of technical English as they are read: one of them, several of them."""

from __future__ import annotations

_BYTES = {"": "", "k": "kilo", "K": "kilo", "M": "mega", "G": "giga", "T": "tera"}
_RATES = ("", "/s")


def _data() -> dict[str, tuple[str, str]]:
    """Bits and bytes with their prefixes, alone and a second."""
    made: dict[str, tuple[str, str]] = {}
    for prefix, said in _BYTES.items():
        for signs, word in (("B", "byte"), ("b", "bit"), ("bit", "bit")):
            if not prefix and signs != "B":
                continue
            one, several = f"{said}{word}", f"{said}{word}s"
            made[f"{prefix}{signs}"] = (one, several)
            for a_second in ("/s", "ps"):
                made[f"{prefix}{signs}{a_second}"] = (f"{one} per second", f"{several} per second")
    for prefix, said in (("Ki", "kibi"), ("Mi", "mebi"), ("Gi", "gibi"), ("Ti", "tebi")):
        made[f"{prefix}B"] = (f"{said}byte", f"{said}bytes")
        made[f"{prefix}B/s"] = (f"{said}byte per second", f"{said}bytes per second")
    return made


UNITS: dict[str, tuple[str, str]] = {
    **_data(),
    "fps": ("frame per second", "frames per second"),
    "Hz": ("hertz", "hertz"),
    "kHz": ("kilohertz", "kilohertz"),
    "MHz": ("megahertz", "megahertz"),
    "GHz": ("gigahertz", "gigahertz"),
    "ns": ("nanosecond", "nanoseconds"),
    "µs": ("microsecond", "microseconds"),
    "μs": ("microsecond", "microseconds"),
    "us": ("microsecond", "microseconds"),
    "ms": ("millisecond", "milliseconds"),
    "s": ("second", "seconds"),
    "sec": ("second", "seconds"),
    "secs": ("second", "seconds"),
    "min": ("minute", "minutes"),
    "mins": ("minute", "minutes"),
    "h": ("hour", "hours"),
    "hr": ("hour", "hours"),
    "hrs": ("hour", "hours"),
    "rpm": ("revolution per minute", "revolutions per minute"),
    "RPM": ("revolution per minute", "revolutions per minute"),
    "bpm": ("beat per minute", "beats per minute"),
    "wpm": ("word per minute", "words per minute"),
    "MT/s": ("megatransfer per second", "megatransfers per second"),
    "GT/s": ("gigatransfer per second", "gigatransfers per second"),
    "GFLOPS": ("gigaflops", "gigaflops"),
    "TFLOPS": ("teraflops", "teraflops"),
    "TFLOPs": ("teraflops", "teraflops"),
    "TOPS": ("tops", "tops"),
    "px": ("pixel", "pixels"),
    "MP": ("megapixel", "megapixels"),
    "Mpx": ("megapixel", "megapixels"),
    "ppi": ("pixel per inch", "pixels per inch"),
    "dpi": ("dot per inch", "dots per inch"),
    "ppd": ("pixel per degree", "pixels per degree"),
    "bpp": ("bit per pixel", "bits per pixel"),
    "bpc": ("bit per component", "bits per component"),
    "nit": ("nit", "nits"),
    "nits": ("nit", "nits"),
    "cd/m²": ("candela per square metre", "candelas per square metre"),
    "cd/m2": ("candela per square metre", "candelas per square metre"),
    "lx": ("lux", "lux"),
    "lux": ("lux", "lux"),
    "lm": ("lumen", "lumens"),
    "K": ("kelvin", "kelvin"),
    "°C": ("degree celsius", "degrees celsius"),
    "℃": ("degree celsius", "degrees celsius"),
    "°F": ("degree fahrenheit", "degrees fahrenheit"),
    "℉": ("degree fahrenheit", "degrees fahrenheit"),
    "°": ("degree", "degrees"),
    "dB": ("decibel", "decibels"),
    "dBA": ("decibel A", "decibels A"),
    "dB(A)": ("decibel A", "decibels A"),
    "dBTP": ("decibel true peak", "decibels true peak"),
    "dBFS": ("decibel full scale", "decibels full scale"),
    "LUFS": ("lufs", "lufs"),
    "LKFS": ("L K F S", "L K F S"),
    "LU": ("loudness unit", "loudness units"),
    "mW": ("milliwatt", "milliwatts"),
    "W": ("watt", "watts"),
    "MW": ("megawatt", "megawatts"),
    "GW": ("gigawatt", "gigawatts"),
    "kW": ("kilowatt", "kilowatts"),
    "Wh": ("watt hour", "watt hours"),
    "kWh": ("kilowatt hour", "kilowatt hours"),
    "V": ("volt", "volts"),
    "mV": ("millivolt", "millivolts"),
    "A": ("amp", "amps"),
    "mA": ("milliamp", "milliamps"),
    "mAh": ("milliamp hour", "milliamp hours"),
    "Ω": ("ohm", "ohms"),
    "kΩ": ("kilohm", "kilohms"),
    "lb": ("pound", "pounds"),
    "oz": ("ounce", "ounces"),
    "m/s²": ("metre per second squared", "metres per second squared"),
    "¢": ("cent", "cents"),
    "nm": ("nanometre", "nanometres"),
    "µm": ("micrometre", "micrometres"),
    "mm": ("millimetre", "millimetres"),
    "cm": ("centimetre", "centimetres"),
    "m": ("metre", "metres"),
    "km": ("kilometre", "kilometres"),
    "m/s": ("metre per second", "metres per second"),
    "km/h": ("kilometre per hour", "kilometres per hour"),
    "kph": ("kilometre per hour", "kilometres per hour"),
    "mph": ("mile per hour", "miles per hour"),
    "ft": ("foot", "feet"),
    "in": ("inch", "inches"),
    "″": ("inch", "inches"),
    "m²": ("square metre", "square metres"),
    "mm²": ("square millimetre", "square millimetres"),
    "g": ("gram", "grams"),
    "kg": ("kilogram", "kilograms"),
    "mg": ("milligram", "milligrams"),
    "ml": ("millilitre", "millilitres"),
    "l": ("litre", "litres"),
    "EV": ("E V", "E V"),
    "pp": ("percentage point", "percentage points"),
    "ct": ("cent", "cents"),
    "%": ("percent", "percent"),
    "‰": ("per mille", "per mille"),
    "x": ("times", "times"),
    "×": ("times", "times"),
}

# Words first of all: as units only right behind a figure and joined to it, or not at all in running text.
_WORDS_TOO = {"in", "us", "a", "x", "sec", "tops", "lux", "nits", "nit"}
_JOINED_ONLY = {"in", "us", "×", "x"}
_LOOSE = {name.casefold(): said for name, said in UNITS.items() if len(name) > 1 and name.casefold() not in _WORDS_TOO}
# In small letters these are nearly always meant as bytes, rates as bits.
for _small, _capital in (
    *(("kb", "kB"), ("mb", "MB"), ("gb", "GB"), ("tb", "TB")),
    *(("kb/s", "kb/s"), ("mb/s", "Mb/s"), ("gb/s", "Gb/s"), ("kbps", "kbps"), ("mbps", "Mbps"), ("gbps", "Gbps")),
):
    _LOOSE[_small] = UNITS[_capital]
_THINGS = {"frame", "pixel", "core", "tile", "sample", "second", "minute", "hour", "day", "run", "octave", "line",
           "channel", "step", "scene", "draw", "block", "dollar", "euro"}  # fmt: skip
"""Words that a unit may be counted by: `ms/frame`."""
_BITS_OR_BYTES = {"mb", "gb", "tb", "mb/s", "gb/s", "kb/s"}


def unit(name: str, *, joined: bool) -> tuple[str, str, str] | None:
    """One of a unit, several of it, and why to look twice ('' mostly); None for what is no unit.

    joined: written right behind its figure (`60fps`), where more can be a unit than after a space.
    """
    if name in _JOINED_ONLY and not joined:
        return None
    if name not in UNITS and name.count("/") == 1:
        above, below = name.split("/")
        top = unit(above, joined=joined)
        bottom = (below, f"{below}s", "") if below in _THINGS else unit(below, joined=joined)
        return (f"{top[0]} per {bottom[0]}", f"{top[1]} per {bottom[0]}", top[2]) if top and bottom else None
    if name in UNITS:
        one, several = UNITS[name]
        return one, several, ("bits or bytes?" if name in _BITS_OR_BYTES else "")
    if len(name) < 2 or (name.casefold() in _WORDS_TOO and not joined) or name.casefold() not in _LOOSE:
        return None
    one, several = _LOOSE[name.casefold()]
    return one, several, ("bits or bytes?" if name in _BITS_OR_BYTES else "")


def is_rate(one: str) -> bool:
    """Whether a unit is so much of something for each other thing. Such a one stays in the plural before what it
    describes: a `60 fps cap` is a sixty frames per second cap, an `8 GB card` an eight gigabyte card."""
    return " per " in one


ALONE = {"fps", "Hz", "kHz", "MHz", "GHz", "ms", "µs", "μs", "dB", "dBTP", "dBFS", "LUFS", "GB", "MB", "TB", "KB", "px",
         "GB/s", "MB/s", "Mb/s", "Mbps", "Gbps", "kbps", "nits", "°C", "°F", "%", "kWh", "mAh", "cd/m²", "TFLOPS",
         "ppi", "FPS"}  # fmt: skip
"""Units that are read in full without a figure too."""
