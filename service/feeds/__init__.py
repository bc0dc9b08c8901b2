"""What is fetched from outside: nothing of it is trusted before it has been read strictly."""
