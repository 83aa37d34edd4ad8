"""Template filters for stored rows: {% load pinpool_rows %}."""

from django import template

from pinpool.http.etags import tag_of

register = template.Library()


@register.filter
def etag(revision: int) -> str:
    """The strong ETag of a row: `<form data-send="PATCH" data-etag="{{ row.revision|etag }}">`."""
    return tag_of(revision)
