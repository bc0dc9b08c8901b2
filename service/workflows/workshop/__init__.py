"""Operation of a workshop: keys, audit, backups, moving, retries, and the state of the database."""
