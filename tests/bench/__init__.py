"""How fast and how heavy. Each module with a `run()` is a bench of `python3 manage.py bench`; tests time nothing."""
