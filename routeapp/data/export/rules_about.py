"""What a zip says about itself, and to the person who opens it."""

ABOUT = "about.json"
DICTIONARY = "dictionary.csv"
WORKBOOK = "everything.xlsx"
FILES = "files/"
FORMAT = 1

READ_ME = """\
Everything in the books of {business}, as it stood at {taken_out_at}.

tables/*.csv     one file for each table: UTF-8, commas, days and moments as in ISO 8601 (moments in UTC),
                 amounts in minor units of {currency}; text that a spreadsheet would take for a formula, and text that
                 begins with an apostrophe, has an apostrophe before it
dictionary.csv   what every table and every column is, its unit, and what it refers to
files/           photos and whatever else the tables name, by these names
everything.xlsx  the same tables to look at: amounts in {currency}, names instead of numbers
about.json       how many rows each table has, and which version this is

Keep this file as carefully as the money: it holds all takes, terms, and how to reach people.

To bring it into an empty installation, open Setup there, then “Bring in everything”, or run on the server:
    python3 manage.py bring_in FILE.zip
Passwords are not in here. An owner then gives each person a new one under Setup, People; on the server,
    python3 manage.py owner NAME
lets an owner in.
"""
