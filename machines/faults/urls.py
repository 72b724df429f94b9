"""Addresses of faults."""

from django.urls import path

from machines.faults import views

urlpatterns = [
    path("faults/<int:pk>/fix/", views.fault_fix, name="fault-fix"),
    path("cabinets/<slug:code>/faults/add/", views.fault_add, name="fault-add"),
]
