"""The workshop itself: keys, audit, backups, moving, retries, and whether the database is there."""
