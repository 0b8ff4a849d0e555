"""Fair layouts: who meets whom in which block, and how well that tells methods apart."""
