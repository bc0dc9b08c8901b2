"""The database itself: connections, tables, their revision, SQLite's files, and what it cannot do now."""
