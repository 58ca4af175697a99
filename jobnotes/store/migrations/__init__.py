"""Alembic's migrations of the database. `versions` holds one file for each, m0001_… and so on."""
