"""Addresses of cabinets; their list is in locations/placements, their page in routeapp/pages.

No path below /cabinets/ may look like /cabinets/CODE/, which is that page.
"""

from django.urls import path

from machines.cabinets import views, views_meters, views_models

urlpatterns = [
    path("new/cabinets/", views.cabinet_add, name="cabinet-add"),
    path("cabinets/<slug:code>/edit/", views.cabinet_edit, name="cabinet-edit"),
    path("cabinets/<slug:code>/photo/", views.cabinet_photo, name="cabinet-photo"),
    path("cabinets/<slug:code>/status/", views.cabinet_status, name="cabinet-status"),
    path("cabinets/<slug:code>/settings/", views.cabinet_settings, name="cabinet-settings"),
    path("cabinets/<slug:code>/price/", views_meters.price_change, name="cabinet-price"),
    path("cabinets/<slug:code>/meters/", views_meters.meter_list, name="cabinet-meters"),
    path("cabinets/<slug:code>/meters/add/", views_meters.meter_add, name="meter-add"),
    path("meters/<int:pk>/replace/", views_meters.meter_replace, name="meter-replace"),
    path("meters/<int:pk>/reset/", views_meters.meter_reset, name="meter-reset"),
    path("models/", views_models.model_list, name="models"),
    path("models/add/", views_models.model_add, name="model-add"),
    path("models/<int:pk>/", views_models.model_edit, name="model-edit"),
]
