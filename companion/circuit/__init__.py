"""The physics of the control circuit."""
