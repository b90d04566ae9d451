"""What the commands have in common and needs no command line: the folder of the data, the stand, what is due."""
