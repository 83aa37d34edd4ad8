"""Template filters that say quantities as people do: {% load pinpool_said %}."""

from django import template

from optics.core.say import Lengths, say_f_number, say_in, say_length, say_source, say_stops, say_time

register = template.Library()

#: Below this, in mm, a length is a hole's or a plate's: a hundredth of a millimetre of it can be seen on a print.
FINE_MM = 2.0


@register.filter
def length(length_mm: float | None, lengths: Lengths = "mm") -> str:
    """“61.0 mm” or “2.40 in”; of less than 2 mm “0.350 mm” or “0.0138 in”; a dash for None.

    `{{ spec.hole_diameter_mm|length:lengths }}`, where `lengths` is in the context of every page.
    """
    if length_mm is None:
        return "–"
    if abs(length_mm) >= FINE_MM:
        return say_length(length_mm, lengths)
    return f"{length_mm:.3f} mm" if lengths == "mm" else f"{length_mm / 25.4:.4f} in"


@register.filter
def told_in(text: str, lengths: Lengths) -> str:
    """A sentence of ours, its lengths in the reader's unit: `{{ flag.text|told_in:lengths }}`."""
    return say_in(text, lengths)


@register.filter
def stops(value: float | None) -> str:
    """“+0.7 stop”, “−1.3 stops”, “0 stops”: to a tenth; a dash for None."""
    if value is None:
        return "–"
    tenths = round(value, 1)
    if not tenths:
        return "0 stops"
    sign = "+" if tenths > 0 else "−"
    return f"{sign}{abs(tenths):.1f} {'stop' if abs(tenths) <= 1 else 'stops'}".replace(".0 ", " ")


@register.filter
def marked_stops(value: float | None) -> str:
    """“+⅔ stop”: to the nearest whole, half or third, as dials are marked; a dash for None."""
    return "–" if value is None else say_stops(value)


@register.filter
def seconds(time_s: float | None) -> str:
    """“3 min 20 s”, “1/60 s”; a dash for None."""
    return "–" if time_s is None else say_time(time_s)


@register.filter
def f_number(value: float | None) -> str:
    """“f/226”; a dash for None."""
    return "–" if value is None else say_f_number(value)


@register.filter
def source(text: str) -> str:
    """Where a figure is from, without the marks that sources carry: “(from memory)” in place of “[memory]”."""
    return say_source(text)
