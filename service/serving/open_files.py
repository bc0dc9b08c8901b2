"""How many connections the limit of open files leaves room for."""

import resource

FILES_EACH = 3
"""Files of a connection: its socket, and on disk a long body and a long answer."""
OTHER_FILES = 200
"""Files for everything else: databases, sockets to processes for long work, what is read meanwhile."""


def room_for(connections: int) -> int:
    """Raise this process's limit of open files as far as so many connections need, and as the system lets it.

    Returns the number of connections for which there is room: with more, opening any file would fail.
    """
    allowed, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = connections * FILES_EACH + OTHER_FILES
    if resource.RLIM_INFINITY not in (allowed, most):
        wanted = max(allowed, min(wanted, most))
    if allowed not in (wanted, resource.RLIM_INFINITY):
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, most))
    return min(connections, max(1, (wanted - OTHER_FILES) // FILES_EACH))
