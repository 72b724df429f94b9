"""Addresses of what is to be expected and what is due."""

from django.urls import path

from routeapp.planning import views_due, views_forecast, views_order

urlpatterns = [
    path("cabinets/<slug:code>/forecast/", views_forecast.cabinet_forecast, name="cabinet-forecast"),
    path("due/", views_due.due, name="due"),
    path("due/<int:pk>/", views_due.due_place, name="due-place"),
    path("due/<int:pk>/to-do/", views_due.to_do_add, name="to-do-add"),
    path("due/to-do/<int:pk>/done/", views_due.to_do_done, name="to-do-done"),
    path("due/<int:pk>/promise/", views_due.promise, name="promise"),
    path("due/<int:pk>/promise/away/", views_due.promise_away, name="promise-away"),
    path("prizes/order/", views_order.reorder, name="reorder"),
    path("prizes/order/list/", views_order.reorder_file, name="reorder-file"),
    path("prizes/order/supplier/", views_order.reorder_supplier, name="reorder-supplier"),
    path("prizes/order/terms/", views_order.supplier_terms, name="supplier-terms"),
    path("prizes/order/<int:pk>/withdraw/", views_order.order_withdraw, name="order-withdraw"),
]
