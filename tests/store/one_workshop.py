"""Checks that a statement stays within one workshop, using its SQLAlchemy structure: text hides the relations."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.sql import operators

from service.store.engine.tables import metadata

TABLES = "|".join(metadata.tables)
COLUMNS_OF_INSERT = re.compile(r"INSERT INTO \w+ \(([^)]*)\)")
SET_BY_UPDATE = re.compile(r"^UPDATE \w+ SET .*?\bworkshop_id ?=.*? WHERE ", re.DOTALL)
BOUND = object()


@dataclass(frozen=True)
class Equality:
    """A condition that a table's workshop equals another table's, or the workshop that the statement is bound to."""

    source: Any
    other: Any


def unfiltered(statement: sa.ClauseElement, text: str = "") -> list[str]:
    """Names the tables and aliases of a statement that are not limited to its workshop, and any other fault.

    Every SELECT, UPDATE and DELETE in it, at any depth, must itself limit each table that it reads or changes to the
    workshop: by a condition that is not inside an OR or NOT, or by equality with a table that is so limited.
    """
    text = text or str(statement)
    found = list(_beyond(statement, ()))
    if SET_BY_UPDATE.search(text):
        found.append("rows are moved to another workshop")
    if isinstance(statement, sa.Insert):
        found += _beyond_insert(statement, text)
    unseen = set(re.findall(rf"\b(?:FROM|JOIN|UPDATE|INTO)\s+({TABLES})\b", text)) - _tables(statement)
    return found + sorted(f"{table} is named in mere text" for table in unseen)


def _beyond(element: Any, enclosing: tuple[Any, ...]) -> Iterator[str]:
    if isinstance(element, sa.Select):
        froms = list(element.get_final_froms())
        if len(froms) > 1:  # then a table of the enclosing statement is a correlation
            froms = [each for each in froms if each not in enclosing]
        yield from _not_held(froms, [element.whereclause])
        enclosing = tuple(_sources(froms))
    elif isinstance(element, sa.Update | sa.Delete):
        yield from _not_held([element.table], [element.whereclause])
        enclosing = (element.table,)
    elif isinstance(element, sa.Subquery | sa.CTE):
        enclosing = ()
    for child in element.get_children():
        yield from _beyond(child, enclosing)


def _not_held(froms: Iterable[Any], conditions: Iterable[Any]) -> Iterator[str]:
    froms = list(froms)
    both_ways = [each for condition in conditions for each in _equalities(condition)]
    one_way: list[Equality] = []
    for join in _joins(froms):
        if join.isouter:  # its condition limits the rows of the right side only
            right = list(_sources([join.right]))
            one_way += [each for each in _equalities(join.onclause) if each.source in right]
        else:
            both_ways += _equalities(join.onclause)
    held: list[Any] = [BOUND]
    while fresh := [each.source for each in (*both_ways, *one_way) if each.other in held and each.source not in held]:
        held += fresh
    yield from (each.name for each in _sources(froms) if _is_table(each) and each not in held)


def _equalities(condition: Any) -> list[Equality]:
    if isinstance(condition, sa.BooleanClauseList) and condition.operator is operators.and_:
        return [each for clause in condition.clauses for each in _equalities(clause)]
    if not isinstance(condition, sa.BinaryExpression) or condition.operator is not operators.eq:
        return []
    left, right = _of_workshop(condition.left), _of_workshop(condition.right)
    if left is None or right is None:
        return []
    return [Equality(left, right), Equality(right, left)]


def _of_workshop(side: Any) -> Any | None:
    """The table whose workshop_id this side of an equality is, or BOUND; None if it is neither."""
    if isinstance(side, sa.BindParameter):
        return BOUND if "workshop_id" in side.key else None
    is_column = isinstance(side, sa.Column) and side.name == "workshop_id"
    return side.table if is_column else None


def _joins(froms: Iterable[Any]) -> Iterator[sa.Join]:
    for each in froms:
        if isinstance(each, sa.Join):
            yield each
            yield from _joins((each.left, each.right))


def _sources(froms: Iterable[Any]) -> Iterator[Any]:
    for each in froms:
        if isinstance(each, sa.Join):
            yield from _sources((each.left, each.right))
        else:
            yield each


def _is_table(source: Any) -> bool:
    return isinstance(source, sa.Table) or (isinstance(source, sa.Alias) and isinstance(source.element, sa.Table))


def _beyond_insert(statement: sa.Insert, text: str) -> list[str]:
    columns = COLUMNS_OF_INSERT.search(text)
    assert columns is not None
    names = columns[1].split(", ")
    if "workshop_id" not in names:
        return [f"{statement.table.name} gets rows of no workshop"]
    if statement.select is None:
        return []
    chosen = list(statement.select.selected_columns)[names.index("workshop_id")]
    return [] if _of_workshop(chosen) is not None else [f"{statement.table.name} gets rows of another workshop"]


def _tables(element: Any) -> set[str]:
    """The names of all tables in the statement's structure."""
    found = {element.name} if isinstance(element, sa.Table) else set()
    if isinstance(element, sa.Insert | sa.Update | sa.Delete):
        found.add(element.table.name)
    return found.union(*map(_tables, element.get_children()))
