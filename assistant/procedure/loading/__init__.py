"""From YAML text to the model: every fault is a located problem, and one run names all of them."""
