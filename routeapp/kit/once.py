"""A form sent twice is one. One that says something else the second time is another, and not to be lost."""

from typing import Any

from routeapp.kit.errors import Refused

ANOTHER = (
    "This page was sent before, and what it said then is kept. Nothing was added; open it anew for something else."
)


def same(made: Any, **said: Any) -> Any:
    """What a form brought when it came before. Refuses a form that says something else by now: whoever goes back to
    it and types anew would be told that it was kept."""
    refuse_another({name: getattr(made, name) for name in said}, said)
    return made


def refuse_another(then: Any, now: Any) -> None:
    if then != now:
        raise Refused(ANOTHER)
