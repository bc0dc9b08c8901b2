"""The command without its entry point: python -m service.cli."""

from service.cli import main

main(prog_name="pugmill")
