"""The invented demo job: a kayak trolley and a dock ladder for a boathouse that does not exist."""
