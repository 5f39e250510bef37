"""From the map to the machine: the board's table, the game's lamps live, proof in the game. Pure state machines."""
