"""Who keeps the watch?"""
