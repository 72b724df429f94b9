"""Addresses of depreciation."""

from django.urls import path

from machines.depreciation import views

urlpatterns = [
    path("depreciation/", views.depreciation, name="depreciation"),
    path("cabinets/<slug:code>/depreciation/", views.cabinet_depreciation, name="cabinet-depreciation"),
    path("cabinets/<slug:code>/depreciation/choose/", views.depreciation_choose, name="depreciation-choose"),
]
