"""A second opinion: a model of a procedure written from its file alone, checked by another model checker."""
