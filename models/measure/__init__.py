"""How well a recogniser hears: recordings, phrase lists, engines, and their figures."""
