"""Addresses of the lists that say where cabinets stand."""

from django.urls import path

from locations.placements import views

urlpatterns = [
    path("cabinets/", views.cabinet_list, name="cabinets"),
    path("faults/", views.fault_list, name="faults"),
]
