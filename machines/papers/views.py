"""Manuals and photos of a model, for people of the business only."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect

from machines.cabinets.models import CabinetModel
from machines.papers import actions
from machines.papers.forms import PaperForm
from machines.papers.models import ModelPaper
from machines.papers.queries import papers_of
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow, may
from routeapp.kit.clock import now
from routeapp.kit.files import kept_file
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page


@allow(*EVERYONE)
def model_papers(request: HttpRequest, pk: int) -> HttpResponse:
    model = get_object_or_404(CabinetModel, pk=pk)
    if not may(request.user, OWNER, ROUTE_HAND):
        return page(request, "machines/papers/paper_list.html", {"model": model, "papers": papers_of(model)})
    form = PaperForm(**sent(request))
    if form.is_valid() and accepted(form, actions.add_paper, model=model, **form.said(), by=request.user, at=now()):
        return done(request, "It stands with the model now.", "model-papers", model.pk)
    return ask(request, "machines/papers/paper_list.html", form, model=model, papers=papers_of(model))


@allow(*EVERYONE)
def model_paper(request: HttpRequest, uuid: UUID) -> HttpResponse:
    paper = get_object_or_404(ModelPaper.objects.live(), uuid=uuid)
    return kept_file(paper.file, content_type="image/jpeg" if paper.is_photo else "application/pdf")


@allow(OWNER)
def model_paper_away(request: HttpRequest, uuid: UUID) -> HttpResponse:
    paper = get_object_or_404(ModelPaper, uuid=uuid)
    if request.method != "POST":
        return redirect("model-papers", paper.model_id)
    actions.take_away(paper=paper, by=request.user, at=now())
    return done(request, f"{paper.name} is shown no longer.", "model-papers", paper.model_id)
