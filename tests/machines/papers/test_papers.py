"""Manuals and photos of a model, as people hand them in and read them in front of a cabinet."""

import io
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from machines.papers.models import ModelPaper
from tests import factories
from tests.machines.counting import queries_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return factories.CabinetModelFactory()


def pdf(name="Manual of the claw.pdf"):
    return SimpleUploadedFile(name, b"%PDF-1.4 pages")


def photo():
    out = io.BytesIO()
    Image.new("RGB", (8, 8), "red").save(out, "PNG")
    return SimpleUploadedFile("board.png", out.getvalue())


def hand_in(client, model, file, **said):
    return client.post(reverse("model-papers", args=[model.pk]), {"uuid": uuid4(), "name": "", "file": file} | said)


def test_a_manual_keeps_the_name_of_its_file_and_opens_as_pdf(hand_client, model):
    hand_in(hand_client, model, pdf())
    paper = ModelPaper.objects.get()
    answer = hand_client.get(reverse("model-paper", args=[paper.uuid]))
    assert (paper.name, answer["Content-Type"], b"".join(answer)) == (
        "Manual of the claw",
        "application/pdf",
        b"%PDF-1.4 pages",
    )


def test_a_photo_becomes_a_jpeg(hand_client, model):
    hand_in(hand_client, model, photo(), name="Board")
    paper = ModelPaper.objects.get()
    assert (str(paper), paper.is_photo) == ("Harbour Claw: Board", True)


def test_the_same_form_twice_is_one_paper(hand_client, model):
    again = uuid4()
    for _ in range(2):
        hand_in(hand_client, model, pdf(), uuid=again)
    assert ModelPaper.objects.count() == 1


def test_a_file_of_another_sort_is_refused_with_words(hand_client, model):
    answer = hand_in(hand_client, model, SimpleUploadedFile("notes.txt", b"plain"))
    assert answer.status_code == 422
    assert answer.context["form"].errors["file"] == [
        "This is neither a PDF nor a photo that can be read. Choose another file."
    ]
    assert ModelPaper.objects.count() == 0


def test_the_owner_takes_a_paper_away_and_it_opens_no_more(hand_client, owner_client, model):
    hand_in(hand_client, model, pdf())
    address = reverse("model-paper", args=[ModelPaper.objects.get().uuid])
    owner_client.post(reverse("model-paper-away", args=[ModelPaper.objects.get().uuid]))
    assert owner_client.get(address).status_code == 404


def test_papers_are_reached_from_the_cabinet(hand_client, model):
    machine = factories.MachineFactory(model=model)
    page = hand_client.get(reverse("cabinet", args=[machine.code])).content.decode()
    assert page.count(f'href="{reverse("model-papers", args=[model.pk])}"') == 1


def test_the_page_asks_as_often_for_three_as_for_one(hand_client, model):
    address = reverse("model-papers", args=[model.pk])
    hand_in(hand_client, model, pdf())
    one = queries_of(hand_client, address)
    for _ in range(2):
        hand_in(hand_client, model, pdf())
    assert queries_of(hand_client, address) == one
