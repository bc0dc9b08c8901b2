"""The tables with the stored texts in place of decoded values: for rows that are copied as they are."""

import sqlalchemy as sa

from service.store.engine.column_types import StoredAsText
from service.store.engine.tables import metadata

as_stored = sa.MetaData()
for _table in metadata.sorted_tables:
    for _column in _table.to_metadata(as_stored).columns:
        if isinstance(_column.type, StoredAsText):
            _column.type = _column.type.impl_instance
