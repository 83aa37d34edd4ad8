"""Every setting of ours, in one dictionary named `PINPOOL`, each with its default and what it is for."""

from typing import Any

from django.conf import settings

DEFAULTS: dict[str, Any] = {
    # The largest JSON body read, in bytes: 1 MB holds a profile of thousands of points.
    "MAX_BODY_BYTES": 1_000_000,
    # The largest scan taken, in bytes, and in pixels once decoded: measuring takes up to about 40 bytes a pixel.
    "MAX_SCAN_BYTES": 20_000_000,
    "MAX_SCAN_PIXELS": 25_000_000,
    # Rows in a page of a list, unless the caller asks for another number, and the most they may ask for.
    "PAGE_SIZE": 50,
    "MAX_PAGE_SIZE": 200,
    # Seconds that one call into another package's plug-in may take before it is named as slow.
    "PLUGIN_SECONDS": 2.0,
}


def setting(name: str) -> Any:
    """The value of `settings.PINPOOL[name]`, or its default; an unknown name is a KeyError."""
    default = DEFAULTS[name]
    return getattr(settings, "PINPOOL", {}).get(name, default)
