"""YAML text to a frozen storyboard, its JSON Schema and its explanations."""

from assembler.storyboard.explanations import explain
from assembler.storyboard.load import load_storyboard, read_storyboard
from assembler.storyboard.model import Storyboard
from assembler.storyboard.paths import resolve_inside
from assembler.storyboard.schema import json_schema

__all__ = ["Storyboard", "explain", "json_schema", "load_storyboard", "read_storyboard", "resolve_inside"]
