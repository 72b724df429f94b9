from django.apps import AppConfig


class LocationsConfig(AppConfig):
    name = "locations"
