"""The set-up of a tube: which end first, which order, marks, stops and rolls, in numbers and in words."""
