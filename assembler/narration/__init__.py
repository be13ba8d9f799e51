"""From written lines to spoken ones."""
