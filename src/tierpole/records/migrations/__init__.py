"""What makes the tables and changes them, one script a release; run by `records.upgrade`."""
