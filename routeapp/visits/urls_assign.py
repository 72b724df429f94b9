"""Addresses of bringing a cabinet to a location and taking it away."""

from django.urls import path

from routeapp.visits import views_assign

urlpatterns = [
    path("locations/assign/", views_assign.placement_assign, name="placement-assign"),
    path("locations/placements/<int:pk>/end/", views_assign.placement_end, name="placement-end"),
    path("locations/placements/<int:pk>/withdraw/", views_assign.placement_withdraw, name="placement-withdraw"),
]
