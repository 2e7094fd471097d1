"""Database, vault, atomic files, lock, limits and fault injection."""
