"""The judge: from flagged readings to conditions; pure, handed its time."""
