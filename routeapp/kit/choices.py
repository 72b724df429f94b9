"""Django's choices, in words that a type checker without stubs for Django understands."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from enum import Enum, EnumMeta
    from typing import Any

    class _Choices(EnumMeta):
        choices: list[tuple[Any, str]]
        values: list[Any]
        labels: list[str]

    class _TextValue(str):
        label: str
        value: str

        def __new__(cls, value: str, label: str = "") -> "_TextValue": ...

    class TextChoices(_TextValue, Enum, metaclass=_Choices):
        pass

    class _IntegerValue(int):
        label: str
        value: int

        def __new__(cls, value: int, label: str = "") -> "_IntegerValue": ...

    class IntegerChoices(_IntegerValue, Enum, metaclass=_Choices):
        pass
else:
    from django.db.models import IntegerChoices, TextChoices

__all__ = ["IntegerChoices", "TextChoices"]
