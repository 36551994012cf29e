"""What would have become of her, had she followed these orders? Policies played against a weather that then really happens."""
