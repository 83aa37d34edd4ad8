"""The tag by which page.html gives the parts of a page to its frame."""

from typing import Any

from django.template import Library
from django.utils.safestring import SafeString

register = Library()


@register.simple_block_tag(takes_context=True)
def part(context: Any, content: SafeString, name: str) -> str:
    """`{% part "title" %}…{% endpart %}`: hand what stands between to `pinpool.web.frames`."""
    context["parts"][name] = content
    return ""
