"""Figures, findings and pictures about a burst or a result.

Numbers only: how frames are decoded is nobody's business here. Loaded with the program itself,
so nothing heavy may be imported in this file: see ``stacker/__init__.py``.
"""

__all__: list[str] = []
