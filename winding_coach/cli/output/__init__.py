"""What is printed: figures in, lines out."""
