"""Files that the commands read and write."""
