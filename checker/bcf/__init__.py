"""The BIM Collaboration Format, 2.1 and 3.0: reading what anyone wrote, writing our own, adding byte by byte."""
