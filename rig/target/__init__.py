"""The finished plane: where the compound's top shall lie."""
