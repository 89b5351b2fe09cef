"""The project's list of eighty bad inputs, as far as they are files: made, handed in, survived."""
