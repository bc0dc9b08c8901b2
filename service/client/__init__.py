"""The owner's commands. They use a running service over HTTP and import nothing else of it."""
