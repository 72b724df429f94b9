"""Addresses of the pages that show more than one feature. Labels say theirs in capitals, people type it in small."""

from django.urls import path

from routeapp.pages import views

urlpatterns = [
    path("", views.today, name="today"),
    path("search/", views.search, name="search"),
    path("cabinets/<slug:code>/", views.cabinet, name="cabinet"),
    path("locations/<int:pk>/", views.location, name="location"),
    path("M/<str:code>", views.label_page, name="label-page"),
    path("M/<str:code>/", views.label_page, name="label-page"),
    path("m/<str:code>/", views.label_page, name="label-page"),
    path("m/<str:code>", views.label_page, name="label-page"),
    path("healthz", views.healthz, name="healthz"),
    path("robots.txt", views.robots, name="robots"),
]
