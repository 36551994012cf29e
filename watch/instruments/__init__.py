"""What is really happening?"""
