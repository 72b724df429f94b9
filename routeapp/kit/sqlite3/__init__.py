"""SQLite for several phones at once; see base.py."""
