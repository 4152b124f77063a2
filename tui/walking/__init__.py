"""What the screen and plain mode know of a walk, without a terminal: its state as told, and what comes next."""
