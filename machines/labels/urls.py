"""Addresses of labels; the page behind a label itself lives with routeapp.pages."""

from django.urls import path

from machines.labels import views

urlpatterns = [
    path("labels/", views.label_list, name="labels"),
    path("labels/sheet/", views.label_sheet, name="labels-sheet"),
    path("cabinets/<slug:code>/label/", views.label_print, name="label"),
    path("cabinets/<slug:code>/label.png", views.label_png, name="label-png"),
    path("cabinets/<slug:code>/label.svg", views.label_svg, name="label-svg"),
    path("cabinets/<slug:code>/label/renew/", views.label_renew, name="label-renew"),
]
