"""A few steps of the machine; `manage.py bench settle-steps` takes fifty thousand."""

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.settlements.machine import Settling

FEW = settings(max_examples=6, stateful_step_count=14, suppress_health_check=list(HealthCheck))


@pytest.mark.django_db
def test_papers_and_payments_add_up_whatever_people_do(owner):
    run_state_machine_as_test(Settling, settings=FEW)
