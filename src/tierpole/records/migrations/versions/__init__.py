"""The scripts, oldest first."""
