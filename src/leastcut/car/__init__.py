"""The nouns: a car, its panels in true size, and units at the edges."""
