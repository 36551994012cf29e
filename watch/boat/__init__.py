"""What can she carry, and what can one person change?"""
