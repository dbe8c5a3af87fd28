"""Answers become files: pages, tables, layers, GPX; whole or not at all."""

from fieldmap.write.assessment import write_assessment
from fieldmap.write.move import write_move

__all__ = ["write_assessment", "write_move"]
