"""Pictures out: always JPEGs of our own encoding, never to be taken for anything else."""

from typing import Any

from django.db.models.fields.files import FieldFile
from django.http import Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from .etags import tagged
from .schema import OCTETS
from .views import Negotiation, View


class JPEGRenderer(BaseRenderer):
    """Bytes as they are."""

    media_type = "image/jpeg"
    format = "jpeg"
    charset = None
    render_style = "binary"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:  # noqa: ARG002
        return data or b""


class OctetRenderer(JPEGRenderer):
    media_type = OCTETS
    format = "bin"


class OneForm(Negotiation):
    """There is one form to answer in, whatever the caller accepts; called plain bytes where they ask for those."""

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:  # noqa: ARG002
        renderer = OctetRenderer() if request.headers.get("Accept") == OCTETS else renderers[0]
        return renderer, renderer.media_type


class PictureView(View):
    """A view that answers with a picture and takes no query."""

    renderer_classes = [JPEGRenderer]
    content_negotiation_class = OneForm

    def query_of(self, method: str) -> dict[str, OpenApiParameter]:  # noqa: ARG002
        return {}


def picture(request: Request, image: FieldFile, *, name: str, revision: int = 1) -> Response:
    """A stored JPEG under a `name` of ours, for a `PictureView`; `revision` where another may come to its address.

    404 where the file is gone. It may be kept, but whether it may still be seen is asked each time.
    """
    try:
        with image.open("rb") as file:
            data = file.read()
    except FileNotFoundError:
        raise Http404 from None
    headers = {
        "X-Content-Type-Options": "nosniff",
        "Content-Disposition": f'inline; filename="{name}"',
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cache-Control": "private, no-cache",
    }
    return tagged(request, Response(data, headers=headers), revision)
