"""Addresses of the earnings pages."""

from django.urls import path

from routeapp.earnings import views, views_patterns, views_prizes, views_profit, views_tax, views_trial

urlpatterns = [
    path("earnings/", views.earnings, name="earnings"),
    path("earnings/takes/", views.earnings_takes, name="earnings-takes"),
    path("earnings/tax/", views_tax.tax_summary, name="tax-summary"),
    path("earnings/trial/<int:pk>/", views_trial.trial, name="trial"),
    path("earnings/csv/", views.earnings_csv, name="earnings-csv"),
    path("earnings/prizes/", views_prizes.earnings_prizes, name="earnings-prizes"),
    path("earnings/prizes/<int:pk>/", views_prizes.prize_earnings, name="prize-earnings"),
    path("earnings/prizes/<int:pk>/takes/", views_prizes.prize_takes, name="prize-takes"),
    path("earnings/profit/", views_profit.profit, name="profit"),
    path("earnings/profit/amounts/", views_profit.profit_amounts, name="profit-amounts"),
    path("earnings/profit/payback/", views_profit.profit_payback, name="profit-payback"),
    path("cabinets/<slug:code>/profit/", views_profit.cabinet_profit, name="cabinet-profit"),
    path("locations/<int:pk>/profit/", views_profit.location_profit, name="location-profit"),
    path("earnings/cash/over-short/patterns/", views_patterns.over_short_patterns, name="over-short-patterns"),
]
