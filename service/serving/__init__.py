"""The processes of the running service: those that answer, those for long work, and the supervisor of both.

Central nouns: `Server`, which answers HTTP; `LongWork`, which hands a request over; `Supervisor`, which keeps the
processes. It knows nothing of operations.
"""
