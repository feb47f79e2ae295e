"""Words to sound: the voice and the player that can be cut off."""
