"""Bringing spreadsheets in."""

from django.urls import path

from routeapp.data.imports import views, views_standing

urlpatterns = [
    path("imports/by-hand/", views_standing.standing_add, name="standing-add"),
    path("imports/", views.imports, name="imports"),
    path("imports/<uuid:uuid>/", views.sheet_import, name="import"),
    path("imports/<uuid:uuid>/columns/", views.columns, name="import-columns"),
    path("imports/<uuid:uuid>/answer/", views.answer, name="import-answer"),
    path("imports/<uuid:uuid>/bring/", views.bring, name="import-bring"),
    path("imports/<uuid:uuid>/undo/", views.undo, name="import-undo"),
]
