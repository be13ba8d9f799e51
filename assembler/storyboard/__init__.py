"""YAML text to a frozen storyboard, its JSON Schema and its explanations."""
