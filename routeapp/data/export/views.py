"""Taking everything out, and bringing it into an empty installation."""

from django.conf import settings
from django.contrib.auth import get_user_model, login
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.data.export import actions, queries
from routeapp.data.export.actions_bring_in import bring_in
from routeapp.data.export.forms import BringInForm
from routeapp.kit import clock, htmx
from routeapp.kit.access import OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import add_refusal, sent

PASSWORDS = "django.contrib.auth.backends.ModelBackend"


@allow(OWNER)
def everything(request: HttpRequest) -> HttpResponse:
    context = {"tables": queries.tables(), "empty": not queries.filled_tables()}
    return htmx.page(request, "routeapp/data/everything.html", context)


@allow(OWNER)
@require_POST
def everything_out(request: HttpRequest) -> StreamingHttpResponse:
    """The zip is sent while it is made: the browser shows how far it is, and the page can be left."""
    now = clock.now()
    response = StreamingHttpResponse(actions.take_out(by=request.user, at=now), content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="everything {timezone.localdate(now)}.zip"'
    response["Content-Encoding"] = "identity"  # it is compressed already
    return response


@allow(OWNER)
def everything_in(request: HttpRequest) -> HttpResponse:
    form = BringInForm(**sent(request))
    if form.is_valid():
        file, username = form.cleaned_data["file"], request.user.username
        try:
            rows = bring_in(file=file, size=file.size, by=request.user, at=clock.now())
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            # The number of a person is now the one the file says.
            login(request, get_user_model().objects.get(username__iexact=username), backend=PASSWORDS)
            return htmx.done(
                request,
                f"{sum(rows.values()):,} rows are in the books. Everybody but you needs a new password.",
                "people",
            )
    largest = settings.MAX_FILE_BYTES // 1024 // 1024
    return htmx.ask(request, "routeapp/data/bring_in.html", form, largest=largest, filled=queries.filled_tables()[:5])
