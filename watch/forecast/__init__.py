"""What do the models say, and how old is it?"""
