"""The physics of the control circuit: copper, sources, fuses, coils, and networks of them."""
