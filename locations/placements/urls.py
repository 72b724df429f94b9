"""Addresses of the lists that say where cabinets stand."""

from django.urls import path

from locations.placements import views

urlpatterns = [
    path("cabinets/", views.cabinet_list, name="cabinets"),
    path("locations/placements/", views.placement_list, name="placements"),
    path("faults/", views.fault_list, name="faults"),
]
