"""The preserving mathematics: pure Python, standard library only, no input or output.

Nothing in this package imports Django or another room of the house; a test imports it in a process
where Django cannot be found.
"""
