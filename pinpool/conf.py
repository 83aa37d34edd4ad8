"""Every setting of ours, in one dictionary named `PINPOOL`, each with its default and what it is for."""

from typing import Any

from django.conf import settings

#: The language of our own words and figures, whatever a host site's is.
LANGUAGE = "en-gb"

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
    # The largest archive of a club that is read, in bytes: 50 MB hold some 20 000 logs and 150 pictures.
    "MAX_ARCHIVE_BYTES": 50_000_000,
    # What one spreadsheet that is brought in may hold: bytes, rows below its heading, columns, and characters in a cell
    # (at most 131 072 of a CSV). That is a club's log of many years.
    "MAX_IMPORT_BYTES": 10_000_000,
    "MAX_IMPORT_ROWS": 20_000,
    "MAX_IMPORT_COLUMNS": 100,
    "MAX_IMPORT_CELL": 4000,
    # What an XLSX may unpack to, in bytes, and into how many parts: it is a ZIP file, and a small one can hold
    # gigabytes. Then the tags in all parts together: a cell takes two to four, and up to 500 bytes of memory each.
    "MAX_IMPORT_UNPACKED_BYTES": 60_000_000,
    "MAX_IMPORT_PARTS": 500,
    "MAX_IMPORT_TAGS": 2_000_000,
    # Sheets that one member has brought in but not imported; the oldest beyond these is let go.
    "MAX_IMPORTS_TRIED": 20,
    # Workshops that one club may have open, places that one may have, and exposures that may be noted at a place.
    "MAX_OPEN_WORKSHOPS": 20,
    "MAX_WORKSHOP_PLACES": 60,
    "MAX_PLACE_EXPOSURES": 200,
    # The page that opens a place of a workshop by its claim code, such as "https://club.example/place/{code}": it is
    # printed as a code to scan. Without one that is our own page, at the host that the sheet was asked of.
    "PLACE_PAGE": "",
    # A folder of fonts that printed sheets are set with where typst's own lack a letter; "": its own alone.
    "SHEET_FONTS": "",
    # Processes that set sheets, of each process of the service; the seconds that one sheet may take or wait for one;
    # and the bytes of memory at which a process is renewed: a pack of 100 pages takes about 220 MB.
    "SHEET_PROCESSES": 2,
    "SHEET_SECONDS": 30.0,
    "SHEET_PROCESS_BYTES": 300_000_000,
    # Rows in a page of a list, unless the caller asks for another number, and the most they may ask for.
    "PAGE_SIZE": 50,
    "MAX_PAGE_SIZE": 200,
    # Seconds that one call into another package's plug-in may take, and all calls together into what it returned; then
    # those that importing it may take. It is given up on after them, and named as slow.
    "PLUGIN_SECONDS": 2.0,
    "PLUGIN_IMPORT_SECONDS": 30.0,
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
    # Claim codes of workshops that open no place. More than of invitations: all who sit in the room behind one address
    # may misspell theirs, and of 23^14 codes none is found by trying.
    "PLACE_TRIES_PER_ADDRESS": (100, 900),
    # Changes at one place of its name, its hole and its results, so that nobody with a code fills the club's trail.
    "CHANGES_PER_PLACE": (120, 900),
    # Times to give that visitors of other web pages may ask for from one address: a whole room may sit behind it.
    "EMBED_QUESTIONS_PER_ADDRESS": (300, 300),
    # Names that a keeper wants to add and that no account has.
    "MEMBER_TRIES_PER_ACCOUNT": (20, 900),
    # Requests for a new password and wrong codes for it, whether or not there is such an account; then the e-mails that
    # go to one account, so that nobody's mailbox is filled from many addresses.
    "RESET_TRIES_PER_ADDRESS": (10, 3600),
    "RESET_MAILS_PER_ACCOUNT": (3, 3600),
    # The most days that an invitation holds.
    "MAX_INVITATION_DAYS": 366,
    # What pages and e-mails call the site, and the page that takes a reset code, such as "https://club.example/reset/{code}";
    # without one the e-mail holds the code alone.
    "SITE_NAME": "Pinpool",
    "RESET_PAGE": "",
    # Whether e-mails reach those whom they are for. If not, people are told to ask whoever keeps the site for the code.
    "MAILS": True,
    # Who is told of weaknesses, "mailto:…" or "https://…", and the page that says what they may expect: both go into
    # security.txt (RFC 9116). Without a contact there is no such file.
    "SECURITY_CONTACT": "",
    "SECURITY_POLICY": "",
    # Whether Pinpool keeps accounts itself, as the stand-alone service does: signs people in and out, makes accounts by
    # invitation, changes addresses and passwords, deletes accounts. In a host site that is the site's own affair.
    "OWN_ACCOUNTS": False,
    # Where people sign in, such as "/login/"; "": at our own page with OWN_ACCOUNTS, else at the site's LOGIN_URL.
    "SIGN_IN_PAGE": "",
    # The template that pages are put into. It shows `pinpool.title`, `pinpool.head` and `pinpool.body`, in any engine.
    "BASE_TEMPLATE": "pinpool/document.html",
    # Stylesheets of the site's, by their names for `static`, after ours: for properties such as --pinpool-accent.
    "STYLESHEETS": [],
    # What pages may load beyond this site, for a base template that does: {"font-src": ["https://fonts.example"]}.
    "PAGE_SOURCES": {},
    # API tokens that one account may have, and the most days that one lasts.
    "MAX_TOKENS": 50,
    "MAX_TOKEN_DAYS": 366,
}


def setting(name: str) -> Any:
    """The value of `settings.PINPOOL[name]`, or its default; an unknown name is a KeyError."""
    default = DEFAULTS[name]
    return getattr(settings, "PINPOOL", {}).get(name, default)
