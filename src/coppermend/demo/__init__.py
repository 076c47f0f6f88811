"""The invented sample board and the sample job."""
