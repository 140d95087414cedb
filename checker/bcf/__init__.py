"""The BIM Collaboration Format, 2.1 and 3.0: reading files of anyone, writing our own, adding to a file in place."""
