"""A display unit that shares nothing with the crate: own drawing, own text, own data path."""
