"""One module a command, and the sub-jobs of the larger ones."""
