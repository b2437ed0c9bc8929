"""What must hold, one family of properties a file: each looks at what is so and at the fact that comes next."""
