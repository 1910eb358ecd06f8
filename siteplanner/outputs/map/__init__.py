"""The saved map."""
