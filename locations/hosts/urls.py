"""Addresses of this feature."""

from django.urls import path

from locations.hosts import views

urlpatterns = [
    path("locations/hosts/", views.hosts, name="hosts"),
    path("locations/hosts/add/", views.host_add, name="host-add"),
    path("locations/hosts/<int:pk>/", views.host, name="host"),
    path("locations/hosts/<int:pk>/edit/", views.host_edit, name="host-edit"),
    path("locations/hosts/<int:pk>/contacts/add/", views.contact_add, name="contact-add"),
    path("locations/contacts/<int:pk>/", views.contact_edit, name="contact-edit"),
]
