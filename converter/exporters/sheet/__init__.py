"""The job sheet: what people look at, at the desk and at the bender. One content, shown as HTML and as PDF."""
