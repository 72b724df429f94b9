"""Addresses of this feature."""

from routeapp.planning import urls_forecast, urls_rounds

urlpatterns = [*urls_rounds.urlpatterns, *urls_forecast.urlpatterns]
