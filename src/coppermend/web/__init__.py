"""Pages and JSON API."""
