"""The scoring bench: how early bad bags are found, and how often good ones are called."""
