"""The record's schema, step by step: one module per released change, run by Alembic through ``job.migrate``."""
