"""How well hearing works: the whole chain, on sounds whose truth is known from how they were made."""
