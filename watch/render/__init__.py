"""How does it read?"""
