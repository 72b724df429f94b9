"""Addresses of this feature."""

from django.urls import path

from routeapp.data.export import views

urlpatterns = [
    path("everything/", views.everything, name="everything"),
    path("everything/out/", views.everything_out, name="everything-out"),
    path("everything/in/", views.everything_in, name="everything-in"),
]
