"""Every address. Each feature keeps its own list; none needs a prefix here, so a path is found by searching for it."""

from django.urls import include, path

FEATURES = [
    "routeapp.visits",  # first, because what phones send is looked for most often
    "routeapp.pages",
    "routeapp.team",
    "machines.cabinets",
    "machines.faults",
    "machines.labels",
    "machines.purchases",
    "machines.depreciation",
    "machines.papers",
    "machines.bench",
    "machines.parts",
    "machines.arrivals",
    "locations.hosts",
    "locations.sites",
    "locations.taxes",
    "locations.agreements",
    "locations.placements",
    "routeapp.stock",
    "routeapp.cash",
    "routeapp.cards",
    "routeapp.expenses",
    "routeapp.settlements",
    "routeapp.planning",
    "routeapp.earnings",
    "routeapp.books",
    "routeapp.data.export",
    "routeapp.data.imports",
]

urlpatterns = [path("", include(f"{feature}.urls")) for feature in FEATURES]

handler400 = "routeapp.pages.views_errors.bad_request"
handler403 = "routeapp.pages.views_errors.not_allowed"
handler404 = "routeapp.pages.views_errors.not_found"
handler500 = "routeapp.pages.views_errors.broken"
