"""From drawn curves to runs and bend tables, and back."""
