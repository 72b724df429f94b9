"""Addresses of this feature."""

from django.urls import path

from locations.agreements import views

urlpatterns = [
    path("locations/<int:pk>/reopen/", views.location_reopen, name="location-reopen"),
    path("locations/<int:pk>/agreements/", views.agreements, name="agreements"),
    path("locations/<int:pk>/agreements/add/", views.agreement_add, name="agreement-add"),
    path("locations/agreements/<int:pk>/", views.agreement, name="agreement"),
    path("locations/agreements/<int:pk>/end/", views.agreement_end, name="agreement-end"),
    path("locations/agreements/<int:pk>/withdraw/", views.agreement_withdraw, name="agreement-withdraw"),
]
