"""Addresses of deliveries and claims."""

from django.urls import path

from machines.arrivals import views, views_claims, views_sync

urlpatterns = [
    path("buying/deliveries/", views.arrival_list, name="arrivals"),
    path("buying/orders/<int:pk>/delivery/", views.arrival_start, name="arrival-start"),
    path("buying/deliveries/<uuid:uuid>/", views.arrival_page, name="arrival"),
    path("buying/deliveries/<uuid:uuid>/unpack/", views.arrival_unpack, name="arrival-unpack"),
    path("buying/deliveries/<uuid:uuid>/correct/", views.arrival_correct, name="arrival-correct"),
    path("buying/deliveries/<uuid:uuid>/claim/", views_claims.claim_add, name="claim-start"),
    path("buying/deliveries/photos/<uuid:uuid>/", views.arrival_photo, name="arrival-photo"),
    path("buying/claims/", views_claims.claim_list, name="claims"),
    path("buying/claims/<uuid:uuid>/", views_claims.claim_page, name="claim"),
    path("buying/claims/<uuid:uuid>/paper.pdf", views_claims.claim_pdf, name="claim-pdf"),
    path("sync/deliveries/<int:pk>/", views_sync.sync_delivery, name="sync-delivery"),
    path("sync/arrivals/", views_sync.sync_arrivals, name="sync-arrivals"),
]
