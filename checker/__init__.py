"""seamtrace: measures every seam of a panel facade in building models.

Data flows one way: ``read -> roles -> facade -> layers -> rules -> issues -> output``.
"""

__version__ = "0.1.0"
