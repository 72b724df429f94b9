"""The one exception whose text may be shown to the person who asked."""


class Refused(Exception):
    """An action said no. `message` is a sentence for the person; `field` names the input it is about, if any."""

    def __init__(self, message: str, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
