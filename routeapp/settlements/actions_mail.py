"""Sending a settlement by e-mail. Whatever the mail server does, the settlement stands and the attempt is on record."""

import logging
import smtplib
from datetime import datetime
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction

from routeapp.kit import audit, clock
from routeapp.kit.errors import Refused
from routeapp.kit.once import same
from routeapp.settlements import queries
from routeapp.settlements.models import Letter, Settlement
from routeapp.settlements.queries_paper import Shown, paper, shown
from routeapp.settlements.rules_paper import pdf
from routeapp.team.queries import business


@transaction.atomic
def send(*, uuid: UUID, settlement: Settlement, to: str, by: Any, at: datetime) -> Letter:
    """Note that a settlement is sent to an address, and send it once that is written; the same `uuid` goes once.

    What came of it stands in the letter. Refuses a void settlement, and while no mail server is set up.
    """
    if problem := queries.cannot_send(settlement):
        raise Refused(problem)
    letter, made = Letter.objects.get_or_create(
        uuid=uuid, defaults={"settlement": settlement, "to": to, "by": by, "at": at, "received_at": at}
    )
    same(letter, settlement=settlement, to=to)
    if made:
        audit.record(f"sent to {to}", settlement, by=by, at=at)
        transaction.on_commit(lambda: _post(letter))
    return letter


def _post(letter: Letter) -> None:
    """Hand a letter to the mail server and write down what came of it. Never raises."""
    problem = ""
    try:
        _message(shown(letter.settlement), letter.to).send()
    except (OSError, smtplib.SMTPException, ValueError) as trouble:
        problem = _words(trouble)
    except Exception as trouble:  # the paper was issued and stays so; what went wrong is for who looks after this
        logging.getLogger(__name__).exception("A settlement could not be sent")
        problem = f"A mistake of ours: {type(trouble).__name__}."
    Letter.objects.filter(pk=letter.pk, tried_at=None).update(tried_at=clock.now(), problem=problem[:300])


def _message(found: Shown, to: str) -> EmailMessage:
    """The mail with the paper attached."""
    firm = business()
    name = " ".join(firm.name.split())
    words = f"Dear {found.settlement.location.host},\n\n{found.title} at {found.settlement.location} is attached.\n"
    signed = f"\n{firm.name}\n{firm.contact}".rstrip()
    mail = EmailMessage(f"{found.title} from {name}", words + signed, settings.DEFAULT_FROM_EMAIL, [to])
    content = pdf(paper(found, firm), us_letter=found.settlement.currency == "USD")
    mail.attach(f"settlement-{found.settlement.number}.pdf", content, "application/pdf")
    return mail


def _words(trouble: Exception) -> str:
    if isinstance(trouble, smtplib.SMTPRecipientsRefused):
        return "The mail server does not take this address."
    if isinstance(trouble, smtplib.SMTPAuthenticationError):
        return "The mail server does not accept our name and password."
    if isinstance(trouble, TimeoutError):
        return "The mail server did not answer in time."
    if isinstance(trouble, smtplib.SMTPResponseException):
        return f"The mail server said no ({trouble.smtp_code})."
    return f"The mail server could not be reached or broke off ({type(trouble).__name__})."
