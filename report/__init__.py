"""What a person reads after a job."""
