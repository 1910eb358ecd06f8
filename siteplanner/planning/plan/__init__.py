"""The pipeline, the Plan value, and what is asked of it afterwards."""
