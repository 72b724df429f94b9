"""An owner at a table with a spreadsheet: the clicks it takes, through the front door."""

import io
import uuid

from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import Workbook

from routeapp.data.imports.models import SheetImport


def csv_file(text, name="route.csv", encoding="utf-8"):
    return SimpleUploadedFile(name, text.encode(encoding) if isinstance(text, str) else text)


def workbook(*sheets, name="route.xlsx", change=None):
    """A workbook of (title, rows) pairs."""
    book = Workbook()
    book.remove(book.active)
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    if change:
        change(book)
    file = io.BytesIO()
    book.save(file)
    return SimpleUploadedFile(name, file.getvalue())


class Desk:
    """Each step gives the answer of the page; `one` is the import as it stands in the books."""

    def __init__(self, client):
        self.client, self.id = client, uuid.uuid4()

    @property
    def one(self):
        return SheetImport.objects.get(pk=self.id)

    @property
    def result(self):
        return self.one.result

    def upload(self, file):
        self.id = uuid.uuid4()
        return self.client.post("/imports/", {"uuid": str(self.id), "file": file})

    def address(self, what=""):
        return f"/imports/{self.id}/{what}"

    def columns(self, **said):
        """Send the columns as they were guessed, with what is said differently (`s0_c2="cash"`)."""
        page = self.client.get(self.address("columns/"))
        data = {"banked": "on", "model": page.context["form"].initial.get("model", "")}
        for sheet in page.context["sheets"]:
            data |= {field.html_name: field.value() for field in sheet if field.value() not in (None, False)}
        data |= {name.replace("_", "-", 1) if name[:1] == "s" and name[1:2].isdigit() else name: value
                 for name, value in said.items()}  # fmt: skip
        return self.client.post(self.address("columns/"), {name: v for name, v in data.items() if v is not None})

    def check(self, file, **said):
        """From the file to what a check found."""
        self.upload(file)
        self.columns(**said)
        return self.result

    def answer(self, **said):
        return self.client.post(self.address("answer/"), said)

    def bring(self, file=None, **said):
        if file is not None:
            self.check(file, **said)
        self.client.post(self.address("bring/"))
        return self.result

    def undo(self):
        self.client.post(self.address("undo/"))
        return self.result

    def page(self):
        return self.client.get(self.address()).content.decode()

    def problems(self):
        return [(one["row"], one["column"], one["text"]) for one in self.result["problems"]]
