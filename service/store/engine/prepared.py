"""A query compiled once and read through the driver: for what is asked very often.

See the decision of 2026-11-30 in service/store/README.md.
"""

from collections.abc import Callable
from typing import Any

import sqlalchemy as sa

_Convert = Callable[[Any], Any]


class Prepared:
    """A query without lists among its parameters; it is a transaction of its own."""

    def __init__(self, engine: sa.Engine, query: sa.Select[Any]) -> None:
        self._engine, dialect = engine, engine.dialect
        self._driver: Any = dialect.loaded_dbapi
        compiled = query.compile(dialect=dialect)
        self._text, self._order = str(compiled), compiled.positiontup
        self._constants = compiled.params  # of values that the query itself contains
        given = {name: parameter.type.dialect_impl(dialect) for parameter, name in compiled.bind_names.items()}
        self._given = {name: kind.bind_processor(dialect) or _same for name, kind in given.items()}
        found = [column.type.dialect_impl(dialect).result_processor(dialect, None) for column in query.selected_columns]
        self._found = [(place, convert) for place, convert in enumerate(found) if convert is not None]

    def rows(self, parameters: dict[str, Any]) -> list[list[Any]]:
        """The values of each row.

        Raises:
            sa.exc.DBAPIError: the database's error, as SQLAlchemy raises it elsewhere.
        """
        known = {**self._constants, **parameters}
        given = {name: convert(known[name]) for name, convert in self._given.items()}
        rows = [[*row] for row in self._run(given if self._order is None else [given[name] for name in self._order])]
        for row in rows:
            for place, convert in self._found:
                row[place] = convert(row[place])
        return rows

    def _run(self, given: Any) -> Any:
        connection = None
        try:
            connection = self._engine.raw_connection()
            cursor = connection.cursor()
            cursor.execute(self._text, given)
            return cursor.fetchall()
        except self._driver.Error as error:
            is_lost = self._engine.dialect.is_disconnect(error, connection, None)
            if is_lost and connection is not None:
                connection.invalidate(error)
            raise sa.exc.DBAPIError.instance(
                self._text, None, error, self._driver.Error, hide_parameters=True, connection_invalidated=is_lost
            ) from error
        finally:
            if connection is not None:
                connection.close()


def _same(value: Any) -> Any:
    return value
