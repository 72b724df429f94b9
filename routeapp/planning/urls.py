"""Addresses of this feature."""

from routeapp.planning import urls_rounds

urlpatterns = [*urls_rounds.urlpatterns]
