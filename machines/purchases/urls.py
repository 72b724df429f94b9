"""Addresses of buying."""

from django.urls import path

from machines.purchases import views, views_compare, views_orders

urlpatterns = [
    path("buying/", views_orders.buying, name="buying"),
    path("buying/compare/", views_compare.comparison, name="compare"),
    path("buying/suppliers/", views.supplier_list, name="suppliers"),
    path("buying/suppliers/add/", views.supplier_add, name="supplier-add"),
    path("buying/suppliers/<int:pk>/", views.supplier_page, name="supplier"),
    path("buying/suppliers/<int:pk>/edit/", views.supplier_edit, name="supplier-edit"),
    path("buying/quotes/", views.quote_list, name="quotes"),
    path("buying/quotes/add/", views.quote_add, name="quote-add"),
    path("buying/quotes/<int:pk>/", views.quote_page, name="quote"),
    path("buying/quotes/<int:pk>/edit/", views.quote_edit, name="quote-edit"),
    path("buying/quotes/<int:pk>/order/", views_orders.order_add, name="quote-order"),
    path("buying/orders/unordered/", views_orders.order_unordered, name="order-unordered"),
    path("buying/orders/<int:pk>/", views_orders.order_page, name="order"),
    path("buying/orders/<int:pk>/step/", views_orders.order_step, name="order-step"),
    path("buying/orders/<int:pk>/came/", views_orders.order_receipt, name="order-receipt"),
    path("buying/orders/<int:pk>/cost/", views_orders.order_cost, name="order-cost"),
    path("buying/orders/<int:pk>/payment/", views_orders.order_payment, name="order-payment"),
    path("buying/orders/<int:pk>/document/", views_orders.order_paper, name="order-paper"),
    path("buying/documents/<uuid:uuid>/", views_orders.paper, name="order-document"),
]
