"""How is the sailor told?"""
