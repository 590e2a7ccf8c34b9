"""How figures and days are written and read, by language."""
