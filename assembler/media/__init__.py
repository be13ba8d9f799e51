"""The doors to media files: foreign errors and silent defaults end here."""
