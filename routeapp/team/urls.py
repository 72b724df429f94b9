"""Signing in and out, people, the business, the log, and Setup, which leads to all of them."""

from django.urls import path

from routeapp.team import views, views_welcome

urlpatterns = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("welcome/", views_welcome.welcome, name="welcome"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("setup/", views.setup, name="setup"),
    path("people/", views.people, name="people"),
    path("people/add/", views.person_add, name="person-add"),
    path("people/<int:pk>/", views.person_edit, name="person-edit"),
    path("people/password/", views.own_password, name="own-password"),
    path("business/", views.business_edit, name="business-edit"),
    path("audit/", views.audit, name="audit"),
]
