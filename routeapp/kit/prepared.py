"""Questions and inserts whose SQL Django works out once, for the few places that run at every visit or page.

Working out the SQL of a small question costs Django five times what SQLite needs to answer it. The questions stay
querysets and the rows stay models; only the working out is kept.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import cache, lru_cache
from itertools import chain
from operator import attrgetter
from typing import Any
from uuid import UUID

from django.core.exceptions import EmptyResultSet
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models import Expression, F, Field, JSONField, Model, QuerySet, Value
from django.db.models.base import ModelState


class Slot(Expression):
    """Stands in a queryset for a value that each asking brings."""

    def __init__(self, place: int) -> None:
        super().__init__()
        self.place = place

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        return "%s", [self]


class ManySlot(Slot):
    """Stands for a list of them, as in `filter(pk__in=...)`: one value, so that the SQL is the same at any length."""

    def __init__(self, place: int, kind: Any) -> None:
        super().__init__(place)
        # PostgreSQL is told of texts only that they are texts of some sort.
        self.source = "unnest(%s::text[])" if kind == list[str] else "unnest(%s)"

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        source = self.source if connection.vendor == "postgresql" else "value FROM json_each(%s)"
        return f"(SELECT {source})", [self]


class Many(ManySlot):
    """Thousands of values for `filter(location__in=Many(ids))`: Django takes a list apart value by value, each time."""

    def __init__(self, values: Iterable[Any]) -> None:
        super().__init__(0, list)
        self.values = list(values)

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        if not self.values:
            raise EmptyResultSet
        sql, _ = super().as_sql(compiler, connection)
        return sql, [adapted(self.values, connection)]


class Prepared:
    """A question with its SQL worked out at the first asking: `Prepared(build, [list], str)` for `build(ids, name)`.

    `build` gets a stand-in for each value and returns a queryset without related rows or prefetches; `kinds` says of
    each value whether it is a `list` or a `list[str]`. Calling it with the values gives the rows. An empty list finds
    nothing.
    """

    def __init__(self, build: Callable[..., QuerySet], *kinds: Any) -> None:
        self._build = build
        self._stand_ins = [ManySlot(n, kind) if kind in (list, list[str]) else Slot(n) for n, kind in enumerate(kinds)]
        self._compiled: dict[str, tuple[str, tuple, Callable]] = {}

    def __call__(self, *values: Any) -> list[Any]:
        if any(isinstance(value, list) and not value for value in values):
            return []
        database = connections[DEFAULT_DB_ALIAS]
        if database.vendor not in self._compiled:
            self._compiled[database.vendor] = self._compile(database)
        sql, params, made = self._compiled[database.vendor]
        given = [adapted(values[one.place], database) if isinstance(one, Slot) else one for one in params]
        with database.cursor() as cursor:
            cursor.execute(sql, given)
            return made(cursor.fetchall(), database)

    def _compile(self, database: Any) -> tuple[str, tuple, Callable]:
        """The statement, its values and stand-ins, and what makes our rows of the database's."""
        rows = self._build(*self._stand_ins)
        compiler = rows.query.get_compiler(connection=database)
        sql, params = compiler.as_sql()
        columns = [column for column, _, _ in compiler.select]
        converters = list(compiler.get_converters(columns).items())
        names = None if rows._fields is not None else [column.target.attname for column in columns]

        def made(found: list[tuple], database: Any) -> list[Any]:
            lines = [list(line) for line in found]
            for place, (functions, expression) in converters:
                for line in lines:
                    for function in functions:
                        line[place] = function(line[place], expression, database)
            return lines if names is None else [_read(rows.model, names, line, database.alias) for line in lines]

        return sql, params, made


def adapted(value: Any, database: Any) -> Any:
    """A value as the database's driver wants it."""
    if isinstance(value, list):
        values = [one if type(one) in PLAIN else adapted(one, database) for one in value]
        return values if database.vendor == "postgresql" else json.dumps(values)
    if isinstance(value, UUID):
        return value if database.features.has_native_uuid_field else value.hex
    if isinstance(value, datetime):
        return database.ops.adapt_datetimefield_value(value)
    return value


def _read(model: Any, names: Sequence[str], values: Sequence[Any], alias: str) -> Any:
    """A row as `model.from_db` makes it, at a fifth of its time."""
    one, state = object.__new__(model), ModelState()
    state.adding, state.db = False, alias
    one.__dict__ = dict(zip(names, values, strict=True), _state=state)
    return one


def row(model: Any, **values: Any) -> Any:
    """A new row as `model(**values)` makes it, at a fifth of its time; for what visits bring by the dozen."""
    plain, related, made_anew = _shape(model)
    one, state = object.__new__(model), ModelState()
    columns = plain | values
    for name in related.keys() & values.keys():
        other = state.fields_cache[name] = columns.pop(name)
        columns[related[name]] = other and other.pk
    for name in made_anew.keys() - values.keys():
        columns[name] = made_anew[name]()
    if len(columns) > len(plain):
        raise TypeError(f"{model.__name__} has no {min(columns.keys() - plain.keys())}")
    one.__dict__ = {"_state": state, **columns}
    return one


@cache
def _shape(model: type[Model]) -> tuple[dict[str, Any], dict[str, str], dict[str, Callable]]:
    """A model's columns with what stands in them by default, the column of each relation, and defaults made anew."""
    fields, blank = model._meta.concrete_fields, model()
    made_anew = {one.attname: one.default for one in fields if one.has_default() and callable(one.default)}
    related = {one.name: one.attname for one in fields if one.is_relation}
    return {one.attname: getattr(blank, one.attname) for one in fields}, related, made_anew


def insert(rows: Iterable[Model]) -> None:
    """Insert new rows of one model and give them their numbers, as bulk_create does, at a fraction of its time.

    For plain facts: fields that do something when they are saved (files, auto_now) do nothing here.
    """
    for some in _chunks(rows):
        model: Any = type(some[0])
        numbered, fields = _inserted(model)
        columns = zip(*map(attrgetter(*(field.attname for field in fields)), some), strict=True)
        keys = _insert(model, list(columns), numbered)
        key_name = model._meta.pk.attname
        for row, key in zip(some, keys, strict=False):
            setattr(row, key_name, key)
        for row in some:
            row._state.adding, row._state.db = False, DEFAULT_DB_ALIAS


def insert_plain(model: Any, rows: Iterable[Mapping[str, Any]]) -> None:
    """The same of rows that nobody looks at afterwards: values by column, the default where one is left out."""
    columns = [(field.attname, field.get_default()) for field in _inserted(model)[1]]
    for some in _chunks(rows):
        _insert(model, [[row.get(name, default) for row in some] for name, default in columns])


MOST_ROWS = 1000  # in one statement: SQLite takes 32,766 values, and no fact of ours has 32


def _chunks(rows: Iterable[Any]) -> Iterator[list[Any]]:
    rows = list(rows)
    return (rows[start : start + MOST_ROWS] for start in range(0, len(rows), MOST_ROWS))


def _insert(model: Any, columns: Sequence[Sequence[Any]], numbers: bool = False) -> list[Any]:
    """Insert rows, given column by column. Gives the `numbers` by which the database numbers them, where asked for."""
    database, fields = connections[DEFAULT_DB_ALIAS], _inserted(model)[1]
    ready = [_ready(field, column, database) for field, column in zip(fields, columns, strict=True)]
    values = list(chain.from_iterable(zip(*ready, strict=True)))
    with database.cursor() as cursor:
        cursor.execute(_insertion(model, len(columns[0]), database.vendor, numbers), values)
        return [key for (key,) in cursor.fetchall()] if numbers else []


def insert_again(rows: QuerySet, **changed: Any) -> None:
    """Insert rows once more with some columns changed, each to a value or an expression, in one statement: none of
    them comes to Python."""
    database, model = connections[DEFAULT_DB_ALIAS], rows.model
    fields = [field for field in model._meta.concrete_fields if not field.primary_key]
    values = [changed.get(field.name, F(field.attname)) for field in fields]
    given = [
        value if hasattr(value, "resolve_expression") else Value(value, field)
        for field, value in zip(fields, values, strict=True)
    ]
    columns = ", ".join(database.ops.quote_name(field.column) for field in fields)
    sql, params = rows.values_list(*given).query.get_compiler(connection=database).as_sql()
    with database.cursor() as cursor:
        cursor.execute(f"INSERT INTO {database.ops.quote_name(model._meta.db_table)} ({columns}) {sql}", params)


def update(rows: Iterable[Model], *names: str) -> None:
    """Write the named fields of rows that stand in the database, as bulk_update does."""
    rows = list(rows)
    if not rows:
        return
    database = connections[DEFAULT_DB_ALIAS]
    meta, quote = type(rows[0])._meta, database.ops.quote_name
    fields = [meta.get_field(name) for name in (*names, meta.pk.name)]
    *sets, where = [f"{quote(field.column)} = %s" for field in fields]
    sql = f"UPDATE {quote(meta.db_table)} SET {', '.join(sets)} WHERE {where}"
    columns = [_ready(field, [getattr(row, field.attname) for row in rows], database) for field in fields]
    with database.cursor() as cursor:
        cursor.executemany(sql, list(zip(*columns, strict=True)))


def _ready(field: Field, values: Sequence[Any], database: Any) -> Sequence[Any]:
    """The values of a column as the driver wants them. Facts that come together mostly share their moment, person and
    source: each is made ready once."""
    json_column = isinstance(field, JSONField)
    if not json_column and set(map(type, values)) <= PLAIN:
        return values
    if values.count(values[0]) == len(values):
        return [_ready_one(field, values[0], database)] * len(values)
    if json_column:
        return [_ready_one(field, value, database) for value in values]
    ready = {value: _ready_one(field, value, database) for value in set(values)}
    return list(map(ready.get, values))


def _ready_one(field: Field, value: Any, database: Any) -> Any:
    return adapted(value, database) if type(value) in ADAPTED else field.get_db_prep_save(value, database)


PLAIN = {int, str, bool, type(None)}  # what drivers take as it is
ADAPTED = {UUID, datetime}


@lru_cache(maxsize=100)
def _inserted(model: Any) -> tuple[bool, list[Field]]:
    """Whether the database numbers the rows, and the fields to give."""
    key = model._meta.pk
    numbered = bool(getattr(key, "db_returning", False))
    return numbered, [field for field in model._meta.concrete_fields if not (numbered and field is key)]


@lru_cache(maxsize=500)
def _insertion(model: Any, rows: int, vendor: str, numbers: bool) -> str:
    fields, quote = _inserted(model)[1], connections[DEFAULT_DB_ALIAS].ops.quote_name
    columns = ", ".join(quote(field.column) for field in fields)
    line = f"({', '.join(['%s'] * len(fields))})"
    sql = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES {', '.join([line] * rows)}"
    return sql + (f" RETURNING {quote(model._meta.pk.column)}" if numbers else "")
