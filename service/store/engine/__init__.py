"""The database itself: connections, tables, their revision, and SQLite's files."""
