"""A query compiled once, whose first row is read through the driver: for what every request asks.

See the decision of 2026-11-30 in service/store/README.md.
"""

from collections.abc import Callable
from typing import Any

import sqlalchemy as sa

_Convert = Callable[[Any], Any]


class Prepared:
    """A query of which the first row is wanted, in a transaction of its own; without lists among its parameters."""

    def __init__(self, engine: sa.Engine, query: sa.Select[Any]) -> None:
        self._engine, dialect = engine, engine.dialect
        self._driver: Any = dialect.loaded_dbapi
        compiled = query.compile(dialect=dialect)
        self._text, self._order = str(compiled), compiled.positiontup
        given = {name: parameter.type.dialect_impl(dialect) for name, parameter in compiled.binds.items()}
        self._given = {name: kind.bind_processor(dialect) or _same for name, kind in given.items()}
        found = [column.type.dialect_impl(dialect) for column in query.selected_columns]
        self._found: list[_Convert] = [kind.result_processor(dialect, None) or _same for kind in found]

    def first(self, parameters: dict[str, Any]) -> list[Any] | None:
        """The values of the first row, or None if there is none.

        Raises:
            sa.exc.DBAPIError: the database's error, as SQLAlchemy raises it elsewhere.
        """
        given = {name: convert(parameters[name]) for name, convert in self._given.items()}
        row = self._first(given if self._order is None else [given[name] for name in self._order])
        return None if row is None else [convert(value) for convert, value in zip(self._found, row, strict=True)]

    def _first(self, given: Any) -> Any:
        connection = None
        try:
            connection = self._engine.raw_connection()
            cursor = connection.cursor()
            cursor.execute(self._text, given)
            return cursor.fetchone()
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
