"""`/.well-known/security.txt` (RFC 9116): whom to tell of a weakness.

A site with routes of its own may name it: `path(".well-known/security.txt", security_txt)`.
"""

from datetime import UTC, datetime, timedelta

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from pinpool.conf import setting

#: RFC 9116 asks for less than a year; whoever reads the file later than this has to fetch it again.
HOLDS = timedelta(days=180)


@require_safe
def security_txt(_request: HttpRequest) -> HttpResponse:
    """The file by `SECURITY_CONTACT` and `SECURITY_POLICY`; a 404 where the site names no contact."""
    contact, policy = setting("SECURITY_CONTACT"), setting("SECURITY_POLICY")
    if not contact:
        raise Http404
    expires = datetime.combine((datetime.now(UTC) + HOLDS).date(), datetime.min.time(), UTC)
    fields = {"Contact": contact, "Expires": f"{expires:%Y-%m-%dT%H:%M:%SZ}", "Policy": policy}
    lines = [f"{name}: {value}\n" for name, value in fields.items() if value]
    return HttpResponse("".join(lines), content_type="text/plain; charset=utf-8")
