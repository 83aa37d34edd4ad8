"""How pages of the log say what it holds."""

import numpy as np
from django import template
from django.utils.safestring import SafeString, mark_safe

from exposures.web.plots import say_end

register = template.Library()


@register.filter
def time_to_give(time_s: float | None) -> str:
    """“3 min 20 s”; in words where no time would do."""
    return "no time would do" if time_s is None or time_s == float("inf") else say_end(time_s)


@register.filter
def exponent(number: float) -> str:
    """“1.28”; in words where the logs bound it on no side."""
    return f"{number:.2f}" if number < 1000 else "without bound"


@register.filter
def speed(index: float) -> str:
    """“6”, “0.045” or “125”: an exposure index to two figures, or three from 10 on."""
    return np.format_float_positional(index, precision=3 if index >= 10 else 2, fractional=False, trim="-")


@register.filter
def beside(stops: float, other_stops: float) -> str:
    """“0.159” beside 0.164: two decimals, or as many more, up to four, as it takes to see a difference."""
    decimals = next((n for n in (2, 3) if f"{stops:.{n}f}" != f"{other_stops:.{n}f}"), 4)
    return f"{stops:.{decimals}f}"


@register.filter
def percent(share: float) -> str:
    """“83 %”."""
    return f"{share:.0%}".replace("%", " %")


@register.filter
def typed(value: object) -> str:
    """What somebody typed, as a field shows it again: a text, a number, or “4 min” of {"value": 4, "unit": "min"}.

    Pairs stand one to a line, with a comma between.
    """
    if isinstance(value, list):
        return "\n".join(", ".join(map(typed, pair)) for pair in value)
    if isinstance(value, dict):
        return " ".join(str(value[key]) for key in ("value", "unit") if key in value)
    return "" if value is None else str(value)


@register.filter
def drawn(svg: str) -> SafeString:
    """An SVG that the service made itself, every word in it escaped where it was made."""
    return mark_safe(svg)  # noqa: S308
