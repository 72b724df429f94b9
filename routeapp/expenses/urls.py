"""Addresses of expenses, the mileage log and refunds."""

from django.urls import path

from routeapp.expenses import views, views_refunds, views_trips

urlpatterns = [
    path("earnings/expenses/", views.expenses, name="expenses"),
    path("earnings/expenses/add/", views.expense_add, name="expense-add"),
    path("earnings/expenses/<int:pk>/", views.expense, name="expense"),
    path("earnings/expenses/<int:pk>/correct/", views.expense_correct, name="expense-correct"),
    path("earnings/expenses/<int:pk>/withdraw/", views.expense_withdraw, name="expense-withdraw"),
    path("earnings/expenses/<int:pk>/receipt.jpg", views.expense_receipt, name="expense-receipt"),
    path("earnings/trips/", views_trips.trips, name="trips"),
    path("earnings/trips/add/", views_trips.trip_add, name="trip-add"),
    path("earnings/trips/<int:pk>/withdraw/", views_trips.trip_withdraw, name="trip-withdraw"),
    path("earnings/trips/rates/", views_trips.rates, name="mileage-rates"),
    path("earnings/trips/rates/<int:pk>/withdraw/", views_trips.rate_withdraw, name="mileage-rate-withdraw"),
    path("earnings/refunds/", views_refunds.refunds, name="refunds"),
    path("earnings/refunds/add/", views_refunds.refund_add, name="refund-add"),
    path("earnings/refunds/reports/<int:pk>/", views_refunds.refund_report, name="refund-report"),
    path("earnings/refunds/<int:pk>/withdraw/", views_refunds.refund_withdraw, name="refund-withdraw"),
]
