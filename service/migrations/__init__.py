"""How the database's tables came to be, one step a file, run by Alembic when the service starts."""
