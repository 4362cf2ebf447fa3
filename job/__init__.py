"""The job file and the pipeline."""
