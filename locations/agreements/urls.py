"""Addresses of this feature."""

from django.urls import path

from locations.agreements import views

urlpatterns = [
    path("locations/<int:pk>/agreements/", views.agreements, name="agreements"),
    path("locations/<int:pk>/agreements/add/", views.agreement_add, name="agreement-add"),
    path("locations/agreements/<int:pk>/withdraw/", views.agreement_withdraw, name="agreement-withdraw"),
]
