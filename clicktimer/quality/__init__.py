"""How far a result can be relied on: the place of the microphone, proof by injected clicks, sample export."""
