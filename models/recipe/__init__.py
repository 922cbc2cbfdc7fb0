"""How the shipped speech model is made: texts, voices, training, graph, folder."""
