"""Addresses of the bench."""

from django.urls import path

from machines.bench import views

urlpatterns = [
    path("cabinets/<slug:code>/bench/", views.bench, name="bench"),
    path("cabinets/<slug:code>/bench/let-go/", views.bench_let_go, name="bench-let-go"),
]
