"""The database: connections, tables, their schema revision, SQLite's files, and faults."""
