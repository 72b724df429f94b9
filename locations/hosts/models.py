"""The businesses that own the floor, and whom to talk to there."""

from django.db import models


class Host(models.Model):
    """A business that owns the floor cabinets stand on."""

    name = models.CharField(max_length=120, unique=True)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Contact(models.Model):
    """Somebody to talk to at a host."""

    host = models.ForeignKey(Host, models.CASCADE, related_name="contacts")
    name = models.CharField(max_length=120)
    role = models.CharField(max_length=60, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
