"""How each look is described: changes of the base's definition, a file a group."""
