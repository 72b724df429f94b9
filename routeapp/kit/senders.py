"""Where a request came from, for limits on guessing and on reports."""

from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest


def address_of(request: HttpRequest) -> str:
    """The other end, or behind a reverse proxy the last address in its own header: those before it are hearsay."""
    seen = request.META.get("REMOTE_ADDR", "")
    if settings.SECURE_PROXY_SSL_HEADER:
        seen = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")[-1].strip() or seen
    try:
        return str(ip_address(seen))
    except ValueError:
        return "0.0.0.0"  # noqa: S104 - a name for “unknown”, nothing listens there
