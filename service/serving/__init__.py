"""Between the server and the application: requests are read whole before a thread works on them.

Central noun: the `Front`, which the server calls in place of the application. The package never knows what is asked.
"""
