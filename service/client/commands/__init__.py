"""The owner's commands, each in the module of its name."""
