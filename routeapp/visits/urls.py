"""Addresses of visits."""

from django.urls import path

from routeapp.visits import (
    urls_assign,
    views,
    views_list,
    views_phone,
    views_sync,
    views_times,
    views_trips,
    views_unsent,
)

urlpatterns = [
    path("sync/visits/", views_sync.sync_visits, name="sync-visits"),
    path("visits/", views_list.visit_list, name="visits"),
    path("visits/new/<int:pk>/", views.visit_start, name="visit-start"),
    path("earnings/trips/proposed/", views_trips.trip_proposals, name="trip-proposals"),
    path("visits/<uuid:uuid>/", views.visit_page, name="visit"),
    path("visits/<uuid:uuid>/correct/", views.visit_correct, name="visit-correct"),
    path("visits/<uuid:uuid>/withdraw/", views.visit_withdraw, name="visit-withdraw"),
    path("visits/<uuid:uuid>/times/keep/", views_times.visit_times_keep, name="visit-times-keep"),
    path("visits/<uuid:uuid>/times/shift/", views_times.visit_times_shift, name="visit-times-shift"),
    path("visits/<uuid:uuid>/receipt/", views.visit_receipt, name="visit-receipt"),
    path("photos/<uuid:uuid>/", views.photo, name="photo"),
    path("sync/me/", views_sync.sync_me, name="sync-me"),
    path("sync/stops/<int:pk>/", views_phone.sync_stop, name="sync-stop"),
    path("sync/cabinets/<str:code>/", views_phone.sync_cabinet, name="sync-cabinet"),
    path("phone/", views_phone.phone, name="phone"),
    path("sw.js", views_phone.worker, name="worker"),
    path("manifest.webmanifest", views_phone.manifest, name="manifest"),
    path("visits/file/", views_unsent.unsent_file, name="unsent-file"),
    path("visits/<uuid:uuid>/signature/", views.signature, name="visit-signature"),
    *urls_assign.urlpatterns,
]
