"""Answers become files: pages, tables, layers, GPX; whole or not at all."""

from fieldmap.write.assessment import write_assessment
from fieldmap.write.move import write_move
from fieldmap.write.search import write_search
from fieldmap.write.survey import write_survey
from fieldmap.write.what_if import write_what_if

__all__ = ["write_assessment", "write_move", "write_search", "write_survey", "write_what_if"]
