"""Work in processes of its own: several at once, under limits, isolated; and how it ends when it does not end well."""
