"""What commands print: text in columns, findings, a progress bar."""
