"""The workshop's commands, one a module, each named as it is typed."""
