"""Between the HTTP server and the application: reads a whole request before a thread works on it.

Central noun: the `Front`, which the server calls in place of the application. It knows nothing of operations.
"""
