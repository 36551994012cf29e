"""What will she meet?"""
