from importlib import import_module

from django.apps import AppConfig


class RouteappConfig(AppConfig):
    name = "routeapp"

    def ready(self) -> None:
        import_module("routeapp.stock.actions")  # it listens to readings of meters
