"""How long, how big, how sure. Knows no files, pictures, notebooks or lessons."""
