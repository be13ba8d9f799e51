"""A storyboard resolved to frames and samples."""
