from django.apps import AppConfig


class RouteappConfig(AppConfig):
    name = "routeapp"
