"""Every setting of ours, in one dictionary named `PINPOOL`, each with its default and what it is for."""

from typing import Any

from django.conf import settings

DEFAULTS: dict[str, Any] = {
    # The largest JSON body read, in bytes: 1 MB holds a profile of thousands of points.
    "MAX_BODY_BYTES": 1_000_000,
    # The largest packet from another server, in bytes: 5 MB hold about 20 000 cells, each of three logs or more.
    "MAX_PACKET_BYTES": 5_000_000,
    # The largest scan taken, in bytes, and in pixels once decoded: measuring takes up to about 40 bytes a pixel.
    "MAX_SCAN_BYTES": 20_000_000,
    "MAX_SCAN_PIXELS": 25_000_000,
    # Photos that one camera may have.
    "MAX_CAMERA_PHOTOS": 20,
    # Rows in a page of a list, unless the caller asks for another number, and the most they may ask for.
    "PAGE_SIZE": 50,
    "MAX_PAGE_SIZE": 200,
    # Seconds that one call into another package's plug-in may take before it is named as slow.
    "PLUGIN_SECONDS": 2.0,
    # The cache, of Django's CACHES, that tries are counted on. Workers must share it, or each counts for itself.
    "CACHE": "default",
    # How many proxies of yours stand before the site and add to X-Forwarded-For; 0: the header is not believed.
    "TRUSTED_PROXIES": 0,
    # How often one may fail, as (times, seconds). An account's limit also counts its password asked for again.
    "LOGIN_TRIES_PER_ACCOUNT": (10, 900),
    # More than an account's: a whole workshop may sit behind one address.
    "LOGIN_TRIES_PER_ADDRESS": (40, 900),
    # Codes of invitations that do not count any more, and sign-ups with faults.
    "INVITATION_TRIES_PER_ADDRESS": (20, 900),
    # Names that a keeper wants to add and that no account has.
    "MEMBER_TRIES_PER_ACCOUNT": (20, 900),
    # Requests for a new password and wrong codes for it, whether or not there is such an account; then the e-mails that
    # go to one account, so that nobody's mailbox is filled from many addresses.
    "RESET_TRIES_PER_ADDRESS": (10, 3600),
    "RESET_MAILS_PER_ACCOUNT": (3, 3600),
    # The most days that an invitation holds.
    "MAX_INVITATION_DAYS": 366,
    # What e-mails call the site, and the page that takes a reset code, such as "https://club.example/reset/{code}";
    # without one the e-mail holds the code alone.
    "SITE_NAME": "Pinpool",
    "RESET_PAGE": "",
    # API tokens that one account may have, and the most days that one lasts.
    "MAX_TOKENS": 50,
    "MAX_TOKEN_DAYS": 366,
}


def setting(name: str) -> Any:
    """The value of `settings.PINPOOL[name]`, or its default; an unknown name is a KeyError."""
    default = DEFAULTS[name]
    return getattr(settings, "PINPOOL", {}).get(name, default)
