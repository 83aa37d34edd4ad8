"""Template filters of the club's pages: {% load clubs_said %}."""

from typing import Any

from django import template

from clubs.web import words

register = template.Library()


@register.filter
def said(value: Any) -> str:
    """A value of the API in words."""
    return words.said(value)


@register.filter
def named(key: str) -> str:
    """A stable name such as “lend_camera” as words."""
    return words.named(key)
