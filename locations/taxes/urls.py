"""Addresses of this feature."""

from django.urls import path

from locations.taxes import views

urlpatterns = [
    path("taxes/", views.tax_rules, name="tax-rules"),
    path("taxes/add/", views.tax_rule_add, name="tax-rule-add"),
    path("taxes/<int:pk>/", views.tax_rule, name="tax-rule"),
    path("taxes/<int:pk>/withdraw/", views.tax_rule_withdraw, name="tax-rule-withdraw"),
    path("locations/<int:pk>/tax/", views.location_tax, name="location-tax"),
    path("cabinets/<slug:code>/tax/", views.cabinet_tax, name="cabinet-tax"),
]
