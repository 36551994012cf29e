"""How a call gets out: one small file a channel."""
