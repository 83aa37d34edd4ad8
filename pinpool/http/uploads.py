"""Forms with a file: held to a size before anything of them is read."""

from collections.abc import Mapping
from typing import Any

from rest_framework.parsers import DataAndFiles, MultiPartParser

from pinpool.conf import setting
from pinpool.http.parsers import BodyTooLargeError

#: What a form may hold beside its file, in bytes.
FORM_BYTES = 100_000


class UploadParser(MultiPartParser):
    """multipart/form-data up to the largest of some settings and a little; the rest is the parser's own business."""

    size_settings: tuple[str, ...] = ("MAX_SCAN_BYTES",)

    def parse(
        self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> DataAndFiles:
        limit = max(map(setting, self.size_settings)) + FORM_BYTES
        length = (parser_context or {})["request"].META.get("CONTENT_LENGTH") or "0"
        if not length.isdigit() or int(length) > limit:
            raise BodyTooLargeError(f"A form with a file may be at most {limit} bytes.", "too_large")
        return super().parse(stream, media_type, parser_context)
