"""What is typed: options in, figures out."""
