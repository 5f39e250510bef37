"""Writing maps to other formats and reading them back."""
