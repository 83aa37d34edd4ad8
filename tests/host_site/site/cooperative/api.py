"""The cooperative's own API, on its own defaults."""

from typing import Any

from django.utils import timezone
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import DateTimeField, Serializer
from rest_framework.views import APIView


class BundleOut(Serializer):
    cut_at = DateTimeField()


class BundlesView(APIView):
    """Bundles cut so far; for whom, how often and in what form, the site's defaults say."""

    def get(self, request: Request) -> Response:  # noqa: ARG002  (DRF's signature)
        return Response(BundleOut({"cut_at": timezone.now()}).data)


class OpenBundlesView(BundlesView):
    permission_classes = [AllowAny]


def refused(fault: Exception, context: dict[str, Any]) -> Response:
    """The cooperative's own form of a refusal."""
    return Response({"geweigerd": type(fault).__name__}, status=getattr(fault, "status_code", 500))
