"""Times, f-numbers, stops and lengths as people say them. Rounding is for people: never compute with these."""

import re
from typing import Literal

import numpy as np

#: The unit that lengths are shown in.
Lengths = Literal["mm", "in"]

#: Shutter times under a third of a second, as a dial prints them: 1/n s. [ISO 516, memory]
_FRACTIONS = (
    3, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800,
    1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000,
)  # fmt: skip
#: Above each of these times (s), round to the step beside it.
_STEPS = (
    (86400, 3600), (5 * 3600, 600), (3600, 60), (600, 15), (300, 10), (90, 5), (30, 1), (10, 0.5), (1, 0.1), (0, 0.05),
)  # fmt: skip
_UNITS = ((86400, "d"), (3600, "h"), (60, "min"), (1, "s"))


def say_time(time_s: float) -> str:
    """“1/60 s”, “2.5 s”, “3 min 20 s”, “1 h 5 min”, “2 d 3 h”: `time_s` ≥ 0 to within 3 % above 2 s, 7 % above 0.37 s.

    Below that it is the nearest mark of a shutter dial, up to a quarter of a stop (19 %) away, and below the last mark
    milliseconds to two digits.
    """
    if time_s == 0:
        return "0 s"
    if time_s < 1 / 2.7:
        n = min(_FRACTIONS, key=lambda n: abs(np.log(n * time_s)))
        if abs(np.log2(n * time_s)) > 0.25:
            return np.format_float_positional(time_s * 1000, 2, fractional=False, trim="-") + " ms"
        return f"1/{n} s"
    step = next(step for start, step in _STEPS if time_s >= start)
    rounded = round(time_s / step) * step
    if rounded < 60:
        return f"{rounded:.2f}".rstrip("0").rstrip(".") + " s"
    left, parts = round(rounded), []
    for size, unit in _UNITS:
        count, left = divmod(left, size)
        if count:
            parts.append(f"{count} {unit}")
    return " ".join(parts)


def say_f_number(n: float) -> str:
    """“f/226”: whole above 10, one decimal below."""
    return f"f/{n:.0f}" if n >= 9.95 else f"f/{n:.1f}".removesuffix(".0")


def say_stops(stops: float) -> str:
    """“+1⅓ stops”, “−½ stop”, “0 stops”: to the nearest whole, half or third of a stop."""
    marks = {0: "", 2: "⅓", 3: "½", 4: "⅔", 6: ""}
    whole, part = divmod(abs(stops), 1)
    sixth = min(marks, key=lambda m: abs(m / 6 - part))
    whole += sixth == 6
    text = (f"{whole:.0f}" if whole or not marks[sixth] else "") + marks[sixth]
    sign = "" if text == "0" else ("+" if stops > 0 else "−")
    return f"{sign}{text} {'stop' if text in {'⅓', '½', '⅔', '1'} else 'stops'}"


def say_length(length_mm: float, lengths: Lengths = "mm") -> str:
    """“61.0 mm”, or “2.40 in”: to a tenth of a millimetre, to a hundredth of an inch."""
    return f"{length_mm:.1f} mm" if lengths == "mm" else f"{length_mm / 25.4:.2f} in"


def say_in(text: str, lengths: Lengths) -> str:
    """A text of ours with its lengths, “0.250 mm” or “101.6 × 127.0 mm”, told as finely in the unit asked for.

    What stands in “ ” is somebody's own words, and stays as it is.
    """
    if lengths == "mm":
        return text

    def said(found: re.Match[str]) -> str:
        if found[0].startswith("“"):
            return found[0]
        return re.sub(r"\d+(\.\d+)?", lambda number: _inches(number[0]), found[0][: -len("mm")]) + "in"

    return re.sub(r"“[^”]*”|(?<![\d.])\d{1,9}(\.\d{1,9})?( × \d{1,9}(\.\d{1,9})?){0,2} mm\b", said, text)


def _inches(mm: str) -> str:
    """To one place more than millimetres, to two at least, and to two digits."""
    inches, places = float(mm) / 25.4, max(2, len(mm.partition(".")[2]) + 1)
    if inches:
        places = max(places, 1 - int(np.floor(np.log10(inches))))
    return f"{inches:.{places}f}"


def say_source(source: str) -> str:
    """A source for people: what was read stands as it is cited, “[memory]” becomes “(from memory)”."""

    def said(mark: re.Match[str]) -> str:
        word = mark[1]
        return "" if word.startswith("read") else f" ({'from ' if word.startswith('memory') else ''}{word})"

    return re.sub(r" \[([^]]+)\]", said, source)
