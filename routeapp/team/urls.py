"""Addresses of this feature."""

urlpatterns: list = []
