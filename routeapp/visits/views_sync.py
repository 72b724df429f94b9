"""The phone's front door: one visit document and its photos, answered so that the phone knows what to keep."""

import json
from typing import Any
from uuid import UUID

from django.http import HttpRequest, JsonResponse
from django.middleware.csrf import get_token
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST
from pydantic import ValidationError

from routeapp.kit import access, clock, pictures
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow
from routeapp.kit.errors import Refused
from routeapp.kit.people import called
from routeapp.visits import rules_document
from routeapp.visits.actions import Clash, record_visit


@allow(*EVERYONE)
@never_cache
@require_GET
def sync_me(request: HttpRequest) -> JsonResponse:
    """Who is signed in, with a fresh CSRF token and the server's clock."""
    user = request.user
    person = {"id": user.pk, "name": called(user), "roles": sorted(access.roles_of(user))}
    told = {"person": person, "csrf": get_token(request), "server_time": clock.now().isoformat()}
    return JsonResponse(told)


@allow(OWNER, ROUTE_HAND)
@never_cache
@require_POST
def sync_visits(request: HttpRequest) -> JsonResponse:
    """201 made, 200 the same again, 409 same id with another content, 422 with messages by field.

    Multipart: `document` is the JSON text, `device_time` what the phone's clock shows as it sends it (ISO 8601 with
    offset); each photo is a file named by the id the document gives it.
    """
    try:
        document = rules_document.read(json.loads(request.POST.get("document", "")))
    except ValidationError as error:
        return _invalid(rules_document.problems(error))
    except (ValueError, RecursionError):
        return _invalid({"": "The document could not be read as JSON."})
    try:
        photos = {UUID(name): pictures.clean(file, file.size) for name, file in request.FILES.items()}
    except pictures.NotAPicture as problem:
        return _invalid({"photos": str(problem)})
    except ValueError:
        return _invalid({"photos": "A photo has no proper id."})
    try:
        recorded = record_visit(
            document=document,
            photos=photos,
            by=request.user,
            at=clock.now(),
            device_at=rules_document.clock_time(request.POST.get("device_time", "")),
            ask=True,
        )
    except Clash as clash:
        return JsonResponse({"id": str(document.id), "errors": {"id": clash.message}}, status=409)
    except Refused as refusal:
        return _invalid({refusal.field or "": refusal.message})
    told = {"id": str(recorded.visit.pk), "questions": recorded.questions}
    return JsonResponse(told, status=201 if recorded.made else 200)


def _invalid(errors: dict[str, Any]) -> JsonResponse:
    return JsonResponse({"errors": errors}, status=422)
