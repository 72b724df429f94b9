"""Addresses of this feature; the page of one location is in routeapp/pages."""

from django.urls import path

from locations.sites import views

urlpatterns = [
    path("locations/", views.locations, name="locations"),
    path("locations/add/", views.location_add, name="location-add"),
    path("locations/<int:pk>/edit/", views.location_edit, name="location-edit"),
    path("locations/<int:pk>/hours/", views.location_hours, name="location-hours"),
    path("locations/<int:pk>/close/", views.location_close, name="location-close"),
]
