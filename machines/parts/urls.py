"""Addresses of parts and keys."""

from django.urls import path

from machines.parts import views, views_keys

urlpatterns = [
    path("parts/", views.part_list, name="parts"),
    path("parts/add/", views.part_add, name="part-add"),
    path("parts/shelves/add/", views.shelf_add, name="shelf-add"),
    path("parts/<int:pk>/", views.part_page, name="part"),
    path("parts/<int:pk>/edit/", views.part_edit, name="part-edit"),
    path("faults/<int:pk>/parts/", views.fault_parts, name="fault-parts"),
    path("keys/", views_keys.key_list, name="keys"),
    path("keys/add/", views_keys.lock_add, name="key-lock-add"),
    path("keys/<int:pk>/", views_keys.lock_page, name="key-lock"),
    path("keys/<int:pk>/edit/", views_keys.lock_edit, name="key-lock-edit"),
    path("keys/copies/<int:pk>/", views_keys.key_hand_over, name="key-hand-over"),
]
