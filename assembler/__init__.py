"""Turn a storyboard into a narrated comparison video."""
