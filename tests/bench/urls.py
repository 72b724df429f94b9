"""Every real address, and the bare views that ours are measured against."""

from django.urls import include, path

from tests.bench import baselines

urlpatterns = [
    path("bench/rows/<str:into>/", baselines.rows),
    path("bench/page/<int:size>/", baselines.page),
    path("", include("routeapp.urls")),
]
handler500 = "routeapp.pages.views_errors.broken"
