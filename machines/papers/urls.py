"""Addresses of the papers of models."""

from django.urls import path

from machines.papers import views

urlpatterns = [
    path("models/<int:pk>/papers/", views.model_papers, name="model-papers"),
    path("models/papers/<uuid:uuid>/", views.model_paper, name="model-paper"),
    path("models/papers/<uuid:uuid>/away/", views.model_paper_away, name="model-paper-away"),
]
