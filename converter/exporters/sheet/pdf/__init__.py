"""The job sheet on paper."""
