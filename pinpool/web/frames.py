"""How a page of ours comes into a site's own frame: its parts are rendered first, then the base template shows them."""

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.html import format_html
from django.utils.safestring import SafeString

#: The base template of the stand-alone service.
ALONE = "pinpool/document.html"

WITHIN = (
    '<div class="pinpool" lang="en-GB">{header}{club_navigation}'
    '<div id="pinpool-content" tabindex="-1">{content}</div>{footer}</div>'
)


class Parts(dict[str, SafeString]):
    """What a base template shows of a page, under the name `pinpool`.

    title: plain text; head: goes into `<head>`; body: all the rest, as one `<div>` that may stand in a `<main>`.
    The stand-alone document sets what that is made of itself: header, club_navigation, content, footer; and the look.
    """

    @property
    def body(self) -> SafeString:
        return format_html(WITHIN, **self)


def framed(request: HttpRequest, template: str, context: dict[str, Any], *, base: str, language: str | None) -> str:
    """The page that `template` makes of `context`, inside the template `base`, which is in the site's `language`.

    A template that gives no parts is a part of a page, and stays as it is.
    """
    parts = Parts()
    text = render_to_string(template, {**context, "parts": parts}, request)
    if not parts:
        return text
    with translation.override(language):
        return render_to_string(base, {"pinpool": parts}, request)
