"""Tables of what the eye is worth, from looks at pictures that training never saw."""
