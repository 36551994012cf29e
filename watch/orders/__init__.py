"""What to do, and until when?"""
