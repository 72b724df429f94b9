"""What every test may use: people of each role, a signed-in client for each, and the clock's noon."""

import gc
from datetime import UTC, datetime
from importlib import import_module

import pytest
from hypothesis import HealthCheck, settings

from routeapp.kit import clock
from tests import factories

# A computer that does much else at once is slow, and no defect. Where CI is set, hypothesis tries the same each time.
settings.register_profile("suite", settings.default, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("suite")


def pytest_collection_modifyitems(items):
    """What asks no database says the same on any: it is tried on SQLite alone."""
    for item in items:
        if not {"db", "transactional_db"} & set(item.fixturenames) and not item.get_closest_marker("django_db"):
            item.add_marker("any_engine")


def pytest_collection_finish():
    """Looking for garbage among all modules, again and again, was a tenth of the suite."""
    gc.freeze()
    gc.set_threshold(10_000)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix, tmp_path_factory):
    """SQLite tests run on a file, as the product does: one in memory knows no waiting for another's lock."""
    from django.db import connection

    if connection.vendor == "sqlite":
        connection.settings_dict["TEST"]["NAME"] = str(tmp_path_factory.mktemp("database") / "test.sqlite3")


@pytest.fixture(scope="session", autouse=True)
def own_media_folder(tmp_path_factory):
    """Photos made by tests go to a folder of their own."""
    from django.conf import settings

    settings.MEDIA_ROOT = tmp_path_factory.mktemp("media")


@pytest.fixture(scope="session", autouse=True)
def views_have_the_clock():
    """Views that take `now` by its name keep what it was when they were imported: not a clock that a test stopped."""
    import_module("routeapp.urls")


@pytest.fixture(autouse=True)
def quick_passwords(settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def quick_clients(request, settings):
    """A static file is looked for when it is asked for: each client would list all of them when it is made."""
    settings.WHITENOISE_AUTOREFRESH = request.node.get_closest_marker("browser") is None


@pytest.fixture(autouse=True)
def nothing_remembered():
    """Each test starts from an empty database, so nothing kept from the one before may show."""
    from django.core.cache import caches

    for kept in caches.all():
        kept.clear()


@pytest.fixture
def noon():
    return datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def year_2026(monkeypatch):
    """Moments of that year are said without it, in whatever year the tests run."""
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 12, 1, 12, tzinfo=UTC))


@pytest.fixture
def owner(db):
    return factories.person("ines", "owner")


@pytest.fixture
def route_hand(db):
    return factories.person("tomas", "route hand")


@pytest.fixture
def bookkeeper(db):
    return factories.person("greta", "bookkeeper")


@pytest.fixture
def owner_client(client, owner):
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def hand_client(client, route_hand):
    client.force_login(route_hand, backend="django.contrib.auth.backends.ModelBackend")
    return client
