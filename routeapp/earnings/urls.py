"""Addresses of the earnings pages."""

from django.urls import path

from routeapp.earnings import views

urlpatterns = [
    path("earnings/", views.earnings, name="earnings"),
    path("earnings/takes/", views.earnings_takes, name="earnings-takes"),
    path("earnings/csv/", views.earnings_csv, name="earnings-csv"),
]
