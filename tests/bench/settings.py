"""The real settings, with the baselines' addresses beside the real ones."""

from routeapp.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.urls"
