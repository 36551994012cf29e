"""Where will she be, and in what light?"""
