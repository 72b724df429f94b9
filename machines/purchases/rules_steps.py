"""The way of an order to the door, and when it will be there."""

from routeapp.kit.choices import TextChoices


class Step(TextChoices):
    MADE = "made", "Made"
    SHIPPED = "shipped", "Shipped"
    PORT = "port", "In port"
    RELEASED = "released", "Released by customs"
    ROAD = "road", "On the road"
    DELIVERED = "delivered", "Delivered"
